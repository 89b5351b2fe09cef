"""Logs and setups of a charge, built from curves that are known."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    Condition,
    DeviceFacts,
    Line,
    Measured,
    Outcome,
    PortFacts,
    Setup,
)
from measurements.kinds.charge import KIND

SLATE = DeviceFacts("invented-slate", "Invented Slate 11", battery_wh=30.0)
BRICK = DeviceFacts("invented-brick", "Invented Brick")
VOLTMETER = Accuracy("Voltmeter", "output_voltage", reading_percent=0.1, fixed=0.01)
AMMETER = Accuracy("Ammeter", "output_current", reading_percent=0.2, fixed=0.005)
WATTMETER = Accuracy("Wattmeter", "input_power", reading_percent=0.5, fixed=0.1)
ALL_METERS = (VOLTMETER, AMMETER, WATTMETER)

HOUR = np.arange(0.0, 3601.0)


def log(*, time_s: FloatArray | Sequence[float] = HOUR, **columns: Any) -> Table:
    """A table; a single number fills its column; the file's first data row is line 2."""
    time = np.array(time_s, dtype=np.float64)
    columns = {"voltage_v": 20.0, "current_a": 1.5, **columns}
    return Table(
        columns={
            "time_s": time,
            **{
                name: np.array(np.broadcast_to(values, time.shape), dtype=np.float64)
                for name, values in columns.items()
            },
        },
        rows=np.arange(2, len(time) + 2),
    )


def setup(
    *,
    device: str = SLATE.slug,
    devices: Sequence[DeviceFacts] = (SLATE, BRICK),
    accuracies: Sequence[Accuracy] = ALL_METERS,
    ports: Sequence[PortFacts] = (),
    line: Line = "high",
) -> Setup:
    return Setup(
        adapter=AdapterFacts(rated_power_w=65.0, ports=tuple(ports)),
        line=line,
        fields={"device": device},
        devices=tuple(devices),
        accuracies=tuple(accuracies),
    )


def measured(table: Table, given: Setup | None = None) -> Outcome:
    """The outcome of a log that the check lets through."""
    given = given or setup()
    assert KIND.check(table, given) == ()
    return KIND.measure(table, given)


def values_of(outcome: Outcome) -> dict[str, Measured]:
    """Metric → value; each metric appears once, for the one device."""
    values = {item.metric: item for item in outcome.values}
    assert len(values) == len(outcome.values)
    for item in outcome.values:
        line = item.condition.line if item.metric == "wall-to-device-efficiency" else ""
        assert item.condition == Condition(line=line, device=SLATE.slug)
    return values


def flags_of(outcome: Outcome) -> dict[str, str]:
    """Code → detail; a code may appear once only."""
    codes = [flag.code for flag in outcome.flags]
    assert len(codes) == len(set(codes))
    return {flag.code: flag.detail for flag in outcome.flags}
