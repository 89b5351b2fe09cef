"""No-load tables and setups for the tests of this kind."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Accuracy, AdapterFacts, Setup

METER = Accuracy("bench meter", "input_power", reading_percent=0.1, fixed=0.0005)
ADAPTER = AdapterFacts(rated_power_w=140, supply="single")
EUROPE = Setup(
    adapter=ADAPTER, line="high", mains_v=230, mains_hz=50, ambient_c=23, accuracies=(METER,)
)


def table(
    power: Iterable[float] | FloatArray,
    *,
    time: Iterable[float] | FloatArray | None = None,
    **columns: FloatArray,
) -> Table:
    """A table whose first reading stands in line 2 of its file, under the heading."""
    readings = np.asarray(list(power), dtype=np.float64)
    held: dict[str, FloatArray] = {"input_power_w": readings, **columns}
    if time is not None:
        held["time_s"] = np.asarray(list(time), dtype=np.float64)
    return Table(columns=held, rows=np.arange(2, readings.size + 2, dtype=np.int64))


def steady(power: float = 0.05, *, drift_w_per_h: float = 0.0, seconds: int = 900) -> Table:
    """A record of one reading a second that starts at `power` [W] and drifts [W/h]."""
    time = np.arange(seconds + 1, dtype=np.float64)
    return table(power + drift_w_per_h * time / 3600, time=time)
