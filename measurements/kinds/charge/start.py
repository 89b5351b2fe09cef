"""What the level at which a charge started does to the times that are meant from empty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measurements.kinds.charge.level import Level
from measurements.kinds.charge.record import Record
from measurements.metrics.interval_means import interval_means

# Charges compare only from an almost empty battery: the project's own rule.
HIGHEST_START_PERCENT = 5.0
# Half of the whole percent in which devices show their level: common practice.
HALF_STEP_PERCENT = 0.5
# A shorter stretch would be more of its own ends than of the pace: the project's own choice.
_LONG_ENOUGH_PERCENT = 10.0


@dataclass(frozen=True, slots=True)
class Pace:
    """How the charge began: time for one percent [s], and mean power meanwhile [W].

    `power_w` is None if gaps hide the whole stretch.
    """

    s_per_percent: float
    power_w: float | None


def pace_of(record: Record, *, start: float, reached: Sequence[tuple[float, float]]) -> Pace | None:
    """The pace from the `start` level [%] to the first level that lies far enough above it.

    `reached` are levels [%] with their times [s], rising; the last one stands in where none lies
    10 % above the start. None without any that took time.
    """
    later = [(percent, time) for percent, time in reached if percent > start and time > 0]
    if not later:
        return None
    far = [item for item in later if item[0] - start >= _LONG_ENOUGH_PERCENT]
    percent, time = far[0] if far else later[-1]
    means, _ = interval_means(
        record.time_s, y=record.power_w, joined=record.joined, edges=np.array([0.0, time])
    )
    mean = float(means[0])
    return Pace(time / (percent - start), None if math.isnan(mean) else mean)


def start_bound(level: Level, *, start: float) -> float:
    """How much of a charge from empty the record may lack, in its own percents [%].

    The start level that the device told and half the step in which it tells it; for a level
    that is inferred, as much as for the highest start that is compared.
    """
    if level.source == "battery":
        return start + max(level.half_width, HALF_STEP_PERCENT)
    highest = HIGHEST_START_PERCENT + HALF_STEP_PERCENT
    # 100 % of an inferred level is what was left to charge.
    return 100 * highest / (100 - highest)
