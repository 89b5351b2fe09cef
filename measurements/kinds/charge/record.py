"""The log of a charge: what was drawn when, and which part of it is charging."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import FloatArray, Table
from measurements.metrics.gaps import BoolArray, joined_intervals

# From the public contract: charging is counted from the first reading above half a watt.
CHARGING_W = 0.5

Readings = Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True)
class Record:
    """A checked log.

    `time_s` [s] counts from the first reading above 0.5 W, whose index is `first`; `last` is that
    of the last one. `values` holds the readings by instrument quantity: output_voltage [V],
    output_current [A] and, where the file has it, input_power [W], NaN where blank. `battery`
    [%] and `stated_power_w` [W], the power that the meter itself logged, are None without any
    reading. `joined` tells which intervals are no gaps.
    """

    time_s: FloatArray
    values: Readings
    battery: FloatArray | None
    stated_power_w: FloatArray | None
    joined: BoolArray
    first: int
    last: int

    @property
    def power_w(self) -> FloatArray:
        """Power into the device [W]."""
        return power_of(self.values)

    @property
    def window(self) -> BoolArray:
        """The joined intervals between the first and the last reading above 0.5 W."""
        inside = np.zeros_like(self.joined)
        inside[self.first : self.last] = True
        return np.asarray(self.joined & inside, dtype=np.bool_)

    @property
    def usual_interval_s(self) -> float:
        """Median spacing of the readings [s]."""
        return float(np.median(np.diff(self.time_s)))

    @property
    def has_gap(self) -> bool:
        """Whether the log pauses while the device charges."""
        return not bool(np.all(self.joined[self.first : self.last]))


def power_of(values: Readings) -> FloatArray:
    """Power [W] of every reading."""
    return np.asarray(values["output_voltage"] * values["output_current"], dtype=np.float64)


def charging_of(power: FloatArray) -> NDArray[np.intp]:
    """Indices of the readings [W] that count as charging."""
    return np.flatnonzero(power > CHARGING_W)


def record_of(table: Table) -> Record:
    """The log of a table in which `check` found nothing."""
    values = {"output_voltage": table["voltage_v"], "output_current": table["current_a"]}
    if (drawn := _filled(table, "input_power_w")) is not None:
        values["input_power"] = drawn
    charging = charging_of(power_of(values))
    first = int(charging[0])
    time = table["time_s"]
    return Record(
        time_s=time - time[first],
        values=values,
        battery=_filled(table, "battery_percent"),
        stated_power_w=_filled(table, "output_power_w"),
        joined=joined_intervals(time),
        first=first,
        last=int(charging[-1]),
    )


def _filled(table: Table, name: str) -> FloatArray | None:
    """An optional column, None if the file lacks it or it is blank throughout."""
    column = table.columns.get(name)
    return column if column is not None and np.any(np.isfinite(column)) else None
