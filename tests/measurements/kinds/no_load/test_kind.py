from __future__ import annotations

import pytest

from measurements.kinds import all_metrics, get_kind, kind_of_metric, method_notes

NO_LOAD = get_kind("no-load")


def test_the_columns_are_those_of_the_public_contract() -> None:
    assert [(column.name, column.required) for column in NO_LOAD.columns] == [
        ("time_s", False),
        ("input_power_w", True),
        ("input_voltage_v", False),
        ("input_current_a", False),
        ("power_factor", False),
    ]


def test_the_metrics_are_those_of_the_public_contract() -> None:
    assert [
        (metric.key, metric.unit, metric.better, metric.condition) for metric in NO_LOAD.metrics
    ] == [
        ("no-load-power", "W", "lower", ("line",)),
        ("no-load-energy", "kWh/a", "lower", ("line",)),
    ]
    assert all(metric.ranked for metric in NO_LOAD.metrics)
    assert kind_of_metric("no-load-power") is NO_LOAD


def test_physical_metrics_follow_those_of_the_kinds_and_belong_to_none() -> None:
    assert list(all_metrics())[-2:] == ["power-density", "specific-power"]
    for key in ("power-density", "specific-power"):
        with pytest.raises(KeyError):
            kind_of_metric(key)


def test_the_notes_warn_of_the_mains_and_say_which_numbers_are_from_memory() -> None:
    notes = method_notes("no-load")
    assert "Mains voltage kills" in notes
    assert "licensed" in notes
    assert "from memory: not verified against the published text" in notes
    assert "IEC 62301:2011" in notes


def test_the_cautions_name_mains_and_earthed_probes() -> None:
    cautions = " ".join(NO_LOAD.cautions)
    assert "Mains" in cautions
    assert "earthed" in cautions
    assert "licensed" in cautions


def test_every_flag_the_kind_can_raise_is_in_its_notes() -> None:
    notes = method_notes("no-load")
    for code in (
        "short-record",
        "single-reading",
        "no-time",
        "few-readings",
        "unstable",
        "coarse-sampling",
        "time-gap",
        "mains-differs",
        "no-instrument",
        "several-instruments",
        "coarse-instrument",
    ):
        assert f"`{code}`" in notes
