from __future__ import annotations

from measurements.kinds import method_notes
from measurements.kinds.base import AdapterFacts, PortFacts
from measurements.kinds.device_match import KIND


def test_the_columns_are_those_of_the_public_contract() -> None:
    assert [(column.name, column.type, column.required) for column in KIND.columns] == [
        ("device", "text", True),
        ("port", "text", True),
        ("protocol", "text", False),
        ("voltage_v", "number", True),
        ("current_a", "number", True),
    ]


def test_the_metrics_are_those_of_the_public_contract() -> None:
    assert [
        (metric.key, metric.unit, metric.better, metric.condition, metric.ranked)
        for metric in KIND.metrics
    ] == [
        ("matched-power", "W", "higher", ("device",), True),
        ("match-rate", "%", "higher", (), True),
    ]


def test_the_mains_may_stay_unknown() -> None:
    assert not KIND.needs_mains


def test_the_plan_has_a_row_for_each_port_and_leaves_the_device_to_the_bench() -> None:
    ports = (PortFacts("C1", "usb-c"), PortFacts("A1", "usb-a"))
    (run,) = KIND.plan(AdapterFacts(rated_power_w=65.0, ports=ports))
    assert run.columns == tuple(column.name for column in KIND.columns)
    assert run.rows == ((None, "C1", None, None, None), (None, "A1", None, None, None))
    assert "each reference device" in run.note


def test_an_adapter_without_ports_has_no_plan() -> None:
    assert KIND.plan(AdapterFacts(rated_power_w=65.0)) == ()


def test_the_cautions_name_heat_batteries_earth_and_mains() -> None:
    cautions = " ".join(KIND.cautions)
    for word in ("hot", "battery", "earthed", "licensed", "local codes", "never a certification"):
        assert word in cautions


def test_every_flag_and_fact_is_in_the_notes() -> None:
    notes = method_notes(KIND.slug)
    for code in (
        "few-devices",
        "untried-port",
        "no-power",
        "no-instrument",
        "several-instruments",
        "pairs",
        "power_w",
    ):
        assert f"`{code}`" in notes
