"""What befell a charge: pauses of the log, drop-outs of the power, renegotiated voltages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measurements.kinds.charge.level import Level, end_of_charge
from measurements.kinds.charge.record import CHARGING_W, Record
from measurements.metrics.gaps import BoolArray
from measurements.metrics.stages import SHORTEST_STAGE_S, Stage, power_stages
from measurements.metrics.steps import Step, settled_steps

# Under 2 V a USB port gives no supply; 0.75 V is more than a cable's drop changes and less than
# any step between fixed voltages. Both are common practice.
DEAD_V = 2.0
STEP_V = 0.75

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Happenings:
    """All times [s] from the start of the charge.

    `gaps` are pauses of the log; `dropouts` stretches without power between the start and the
    end of the charge; `steps` changes of the settled voltage [V]; `stages` stretches between
    changes of the power, until the device is full.
    """

    gaps: tuple[Span, ...]
    dropouts: tuple[Span, ...]
    steps: tuple[Step, ...]
    stages: tuple[Stage, ...]

    @property
    def steady(self) -> tuple[Stage, ...]:
        """The stages of constant power."""
        return tuple(stage for stage in self.stages if stage.steady)


def happenings_of(record: Record, *, level: Level) -> Happenings:
    """Everything that is marked in a record."""
    alive = _alive(record)
    time, keep = record.time_s, np.flatnonzero(alive)
    joined = _joined_over_short_dropouts(record, keep=keep)
    end = end_of_charge(record, level=level)
    # What a full device draws for itself is no stage of its charge.
    count = keep.size if end is None else int(np.searchsorted(keep, end))
    return Happenings(
        gaps=tuple(
            (float(time[index]), float(time[index + 1])) for index in np.flatnonzero(~record.joined)
        ),
        dropouts=_dropouts(record, alive=alive, level=level),
        steps=settled_steps(
            time[keep],
            y=record.values["output_voltage"][keep],
            joined=joined,
            threshold=STEP_V,
        ),
        stages=power_stages(
            time[keep[:count]],
            power=record.power_w[keep[:count]],
            joined=joined[: max(count - 1, 0)],
        ),
    )


def _alive(record: Record) -> BoolArray:
    """Readings of the charge, from its first to its last one, that are no drop-out."""
    alive = (record.power_w > CHARGING_W) & (record.values["output_voltage"] >= DEAD_V)
    alive[: record.first] = False
    alive[record.last + 1 :] = False
    return np.asarray(alive, dtype=np.bool_)


def _joined_over_short_dropouts(record: Record, *, keep: np.ndarray) -> BoolArray:
    """Which neighbours of the readings that are kept belong together."""
    gaps_before = np.concatenate(([0], np.cumsum(~record.joined)))[keep]
    adjacent = np.diff(keep) == 1
    short = np.diff(record.time_s[keep]) < SHORTEST_STAGE_S
    return np.asarray((np.diff(gaps_before) == 0) & (adjacent | short), dtype=np.bool_)


def _dropouts(record: Record, *, alive: BoolArray, level: Level) -> tuple[Span, ...]:
    """Stretches that are not alive, from their first reading to the first one after them."""
    end = record.last if level.full is None else min(record.last, level.full)
    time = record.time_s
    spans: list[Span] = []
    index = record.first
    while index < end:
        if alive[index]:
            index += 1
            continue
        begin = index
        # A drop-out that a gap interrupts is two: nobody knows what lay between.
        while index < end and not alive[index + 1] and record.joined[index]:
            index += 1
        back = index + 1 if index < end and record.joined[index] else index
        spans.append((float(time[begin]), float(time[back])))
        index += 1
    return tuple(spans)
