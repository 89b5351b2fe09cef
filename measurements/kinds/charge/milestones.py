"""How long the charge took to each level, and which of these times may be compared."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from measurements.intake.columns import FloatArray
from measurements.kinds.base import DeviceFacts
from measurements.kinds.charge.level import Level, charge_share
from measurements.kinds.charge.record import Readings, Record
from measurements.kinds.charge.start import HIGHEST_START_PERCENT, Pace, pace_of, start_bound
from measurements.metrics.integration import integral
from measurements.metrics.milestones import Crossing, first_crossing
from measurements.metrics.uncertainty import (
    ErrorSource,
    propagate,
    rectangular,
    root_sum_square,
)

MILESTONES: Mapping[str, float] = {
    "charge-to-20": 20.0,
    "charge-to-50": 50.0,
    "charge-to-80": 80.0,
    "charge-to-full": 100.0,
}

# Mean powers compare only over an almost whole charge: the project's own rules.
LOWEST_END_PERCENT = 95.0
LEAST_ENERGY_SHARE = 0.95


@dataclass(frozen=True, slots=True)
class Milestone:
    """A level that was reached `time_s` [s] after the start, with its uncertainty [s]."""

    metric: str
    percent: float
    time_s: float
    uncertainty_s: float


@dataclass(frozen=True, slots=True)
class Milestones:
    """Levels reached, levels [%] reached before the record began, and levels lost in a gap.

    `pace` is that of the beginning, None if no level was reached.
    """

    reached: tuple[Milestone, ...]
    passed: tuple[float, ...]
    in_gap: tuple[float, ...]
    pace: Pace | None = None


def milestones_of(record: Record, *, level: Level, sources: tuple[ErrorSource, ...]) -> Milestones:
    """The time to every level of `MILESTONES`, from the first reading above 0.5 W."""
    start = level.start(record)
    if start is None:
        return Milestones((), (), ())
    crossings: dict[str, Crossing] = {}
    passed, in_gap = [], []
    for metric, target in MILESTONES.items():
        if start >= target:
            passed.append(target)
            continue
        found = _crossing(record, percent=level.percent, target=target)
        if found is None:
            continue
        if found.in_gap:
            in_gap.append(target)
            continue
        crossings[metric] = found
    times = {metric: max(found.time, 0.0) for metric, found in crossings.items()}
    pace = pace_of(
        record, start=start, reached=[(MILESTONES[metric], time) for metric, time in times.items()]
    )
    lacking_s = 0.0 if pace is None else pace.s_per_percent * start_bound(level, start=start)
    reached = tuple(
        Milestone(
            metric,
            MILESTONES[metric],
            time_s=times[metric],
            uncertainty_s=root_sum_square(
                [
                    rectangular(lacking_s),
                    _uncertainty(
                        found,
                        record=record,
                        level=level,
                        target=MILESTONES[metric],
                        sources=sources,
                    ),
                ]
            ),
        )
        for metric, found in crossings.items()
    )
    return Milestones(reached, tuple(passed), tuple(in_gap), pace)


def not_comparable(record: Record, *, level: Level, device: DeviceFacts) -> str:
    """Why times of this charge are not comparable with others; empty if they are."""
    start = level.start(record)
    if level.source == "battery" and start is not None and start > HIGHEST_START_PERCENT:
        return (
            f"The charge started at {start:g} %; times compare only from {HIGHEST_START_PERCENT:g} "
            "% or less."
        )
    if level.source == "charge" and device.battery_wh is not None:
        energy = integral(record.time_s, y=record.power_w, joined=record.window) / 3600
        if energy < LEAST_ENERGY_SHARE * device.battery_wh:
            return (
                f"The device took {energy:.1f} Wh and its battery holds {device.battery_wh:g} Wh, "
                "so that it was not empty at the start; times compare only from an empty battery."
            )
    return ""


def not_whole(level: Level) -> str:
    """Why the mean power is not that of a whole charge; empty if nothing says so."""
    end = level.end()
    if level.source == "battery" and end is not None and end < LOWEST_END_PERCENT:
        return (
            f"The log ends at {end:g} %; mean powers compare only over a charge to "
            f"{LOWEST_END_PERCENT:g} % or more, because the last part is the slowest."
        )
    return ""


def _crossing(record: Record, *, percent: FloatArray, target: float) -> Crossing | None:
    """The first crossing from the level on that was known last before the charge began."""
    begin = record.first
    while begin > 0 and math.isnan(percent[begin]):
        begin -= 1
    return first_crossing(
        record.time_s[begin:], level=percent[begin:], target=target, joined=record.joined[begin:]
    )


def _uncertainty(
    found: Crossing,
    *,
    record: Record,
    level: Level,
    target: float,
    sources: tuple[ErrorSource, ...],
) -> float:
    """Standard uncertainty [s] of a time between two moments that readings bracket."""
    parts = [
        rectangular(_start_interval(record) / 2),
        rectangular(found.interval / 2),
        rectangular(level.half_width / found.slope),
    ]
    if level.source == "charge":

        def moment(values: Readings) -> float:
            # A meter's offset may keep the current above the end; it then says nothing here.
            shifted = charge_share(values, record=record)
            crossing = (
                None if shifted is None else _crossing(record, percent=shifted, target=target)
            )
            return found.time if crossing is None else crossing.time

        current = [source for source in sources if source.quantity == "output_current"]
        parts.append(propagate(moment, values=record.values, sources=current))
    return root_sum_square(parts)


def _start_interval(record: Record) -> float:
    """Time [s] between the first reading above 0.5 W and the one before, else the one after."""
    after = max(record.first, 1)
    return float(record.time_s[after] - record.time_s[after - 1])
