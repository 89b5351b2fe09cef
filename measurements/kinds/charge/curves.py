"""The whole charge as two curves that other charges can be laid over, dense and small."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from measurements.intake.columns import FloatArray
from measurements.kinds.charge.level import Level, end_of_charge
from measurements.kinds.charge.record import Record
from measurements.metrics.curves import WHOLE_STEPS, by_level
from measurements.metrics.interval_means import interval_means

STEP_S = 10.0
MOST_POINTS = 5000
# Milliwatts: finer than any meter between adapter and device.
_DECIMALS = 3
# Sums of lengths round; a step that lacks less than this share of itself is whole.
_ROUNDING = 1e-9


def curves_of(record: Record, *, level: Level) -> dict[str, Any]:
    """Power [W] by time and by level, as the README states it; together `MOST_POINTS` at most."""
    return {
        "by_time": _by_time(record),
        "by_level": _by_level(record, level=level),
    }


def _by_time(record: Record) -> dict[str, Any]:
    """Means over equal steps from the start of the charge; None where a gap falls into one."""
    duration = float(record.time_s[-1])
    most = MOST_POINTS - WHOLE_STEPS
    step = STEP_S * max(1, math.ceil(duration / STEP_S / most))
    edges = np.arange(int(duration // step) + 1, dtype=np.float64) * step
    means, covered = interval_means(
        record.time_s, y=record.power_w, joined=record.joined, edges=edges
    )
    whole = covered >= (1 - _ROUNDING) * step
    return {"step_s": step, "power_w": _plain(np.where(whole, means, np.nan))}


def _by_level(record: Record, *, level: Level) -> dict[str, Any]:
    """Means over the percents that the charge passed from end to end; none without a level.

    That in which it starts is a part only, and holds the seconds in which the power comes up.
    """
    end = end_of_charge(record, level=level)
    stop = len(record.time_s) if end is None else max(end, record.first) + 1
    kept = slice(record.first, stop)
    percent = level.percent[kept].copy()
    start = level.start(record)
    if start is not None and math.isnan(percent[0]):
        percent[0] = start
    steps, means = by_level(
        record.time_s[kept],
        level=percent,
        y=record.power_w[kept],
        joined=record.joined[record.first : stop - 1],
    )
    full = np.nanmax(percent, initial=0.0) >= WHOLE_STEPS
    whole = slice(1, None if full else -1)
    return {"level_percent": [int(step) for step in steps[whole]], "power_w": _plain(means[whole])}


def _plain(means: FloatArray) -> list[float | None]:
    return [None if math.isnan(mean) else round(mean, _DECIMALS) for mean in means.tolist()]
