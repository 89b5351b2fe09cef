from __future__ import annotations

from measurements.kinds import method_notes
from measurements.kinds.base import AdapterFacts, DeviceFacts, PortFacts, Setup
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


PORTS = (PortFacts("C1", "usb-c"), PortFacts("A1", "usb-a"))
DEVICES = (DeviceFacts("made-up-phone", "Made-up phone"), DeviceFacts("made-up-pad", "Made-up pad"))


def test_the_plan_has_a_row_for_each_device_on_each_port() -> None:
    (run,) = KIND.plan(Setup(AdapterFacts(rated_power_w=65.0, ports=PORTS), devices=DEVICES))
    assert run.columns == tuple(column.name for column in KIND.columns)
    assert run.rows == (
        ("made-up-phone", "C1", None, None, None),
        ("made-up-phone", "A1", None, None, None),
        ("made-up-pad", "C1", None, None, None),
        ("made-up-pad", "A1", None, None, None),
    )


def test_without_ports_there_is_no_plan_and_without_devices_the_bench_names_them() -> None:
    bare = AdapterFacts(rated_power_w=65.0)
    assert KIND.plan(Setup(bare, devices=DEVICES)) == ()
    (run,) = KIND.plan(Setup(AdapterFacts(rated_power_w=65.0, ports=PORTS)))
    assert run.rows == ((None, "C1", None, None, None), (None, "A1", None, None, None))


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
