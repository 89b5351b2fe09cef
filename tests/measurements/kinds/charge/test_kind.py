"""What the charging method declares."""

from __future__ import annotations

from pathlib import Path

import pytest

from measurements.intake.tables import read_table
from measurements.kinds.base import AdapterFacts, DeviceFacts, PortFacts, Setup
from measurements.kinds.charge import KIND


def test_the_kind_declares_the_metrics_of_the_contract() -> None:
    declared = {item.key: (item.unit, item.better) for item in KIND.metrics}
    assert declared == {
        "charge-to-20": ("min", "lower"),
        "charge-to-50": ("min", "lower"),
        "charge-to-80": ("min", "lower"),
        "charge-to-full": ("min", "lower"),
        "charge-energy": ("Wh", ""),
        "charge-delivered": ("Ah", ""),
        "charge-peak-power": ("W", "higher"),
        "charge-mean-power": ("W", "higher"),
        "charge-stages": ("1", ""),
        "wall-to-device-efficiency": ("%", "higher"),
    }
    by_line = {item.key for item in KIND.metrics if item.condition == ("line", "device")}
    assert by_line == {"wall-to-device-efficiency"}
    assert {item.condition for item in KIND.metrics if item.key not in by_line} == {("device",)}
    assert {item.key for item in KIND.metrics if not item.ranked} == {
        "charge-energy",
        "charge-delivered",
        "charge-stages",
    }


def test_the_kind_declares_the_columns_and_fields_of_the_contract() -> None:
    assert {column.name: column.required for column in KIND.columns} == {
        "time_s": True,
        "voltage_v": True,
        "current_a": True,
        "battery_percent": False,
        "output_power_w": False,
        "input_power_w": False,
    }
    assert [(item.name, item.type, item.required) for item in KIND.fields] == [
        ("device", "device", True)
    ]
    assert not KIND.needs_mains


DEVICES = (DeviceFacts("made-up-phone", "Made-up phone"), DeviceFacts("made-up-pad", "Made-up pad"))


def test_the_plan_is_one_log_for_each_device_at_the_strongest_port() -> None:
    ports = (
        PortFacts("A1", "usb-a"),
        PortFacts("C1", "usb-c", rated_power_w=65.0),
        PortFacts("C2", "usb-c", rated_power_w=20.0),
    )
    runs = KIND.plan(Setup(AdapterFacts(rated_power_w=65.0, ports=ports), devices=DEVICES))
    assert [run.fields for run in runs] == [
        {"device": "made-up-phone", "port": "C1"},
        {"device": "made-up-pad", "port": "C1"},
    ]
    assert runs[0].title == "Charge of Made-up phone on C1"
    for planned in runs:
        assert planned.log
        assert planned.rows == ()
        assert {column.name for column in KIND.columns} - set(planned.columns) == {"output_power_w"}


def test_an_adapter_without_ports_has_a_plan_too_and_so_has_a_bench_without_devices() -> None:
    bare = AdapterFacts(rated_power_w=65.0)
    (planned,) = KIND.plan(Setup(bare, devices=DEVICES[:1]))
    assert planned.fields == {"device": "made-up-phone"}
    (first,) = KIND.plan(Setup(bare))
    assert first.fields == {"device": ""}
    assert first.title == "Charge of a reference device"


@pytest.mark.parametrize(
    ("headings", "columns"),
    [
        ("time_s,voltage_v,current_a", {"time_s", "voltage_v", "current_a"}),
        # The power that a USB meter logs is that of the device, not of the mains.
        ("Time [s],Vbus/V,Ibus/A,Power/W", {"time_s", "voltage_v", "current_a", "output_power_w"}),
        (
            "Zeit (min),Spannung (V),Strom (mA),Ladestand (%)",
            {"time_s", "voltage_v", "current_a", "battery_percent"},
        ),
        (
            "t/s,U/V,I/A,P in/W,P out/W",
            {"time_s", "voltage_v", "current_a", "input_power_w", "output_power_w"},
        ),
    ],
)
def test_headings_of_the_bench_are_recognised(
    headings: str, columns: set[str], tmp_path: Path
) -> None:
    path = tmp_path / "log.csv"
    row = ",".join(["1"] * len(headings.split(",")))
    path.write_text(f"{headings}\n" + "".join(f"{row}\n" for _ in range(3)), "utf-8")
    reading = read_table(path, KIND.columns, file_name=path.name)
    assert reading.table is not None
    assert set(reading.table.columns) == columns
