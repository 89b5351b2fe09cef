"""How full the device was at every moment: as it says itself, or by the charge it took."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from measurements.intake.columns import FloatArray
from measurements.kinds.charge.record import Readings, Record
from measurements.metrics.integration import running_integral
from measurements.metrics.milestones import level_resolution

# From the public contract: the charge is over when the current stays below 5 % of its peak.
END_SHARE = 0.05
# How much charge gaps may hide before the level is not inferred: the project's own choice.
MOST_HIDDEN_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Level:
    """State of charge over a record.

    `percent` [%] is NaN where not known. `source` tells whether the device stated it
    (``battery``), or it is the share of all charge that was delivered (``charge``). `half_width`
    [%] is how far off it may be by its resolution, or by charge that gaps hide. Without any
    level, `source` is empty and `reason` a sentence.
    """

    percent: FloatArray
    source: Literal["battery", "charge", ""]
    half_width: float = 0.0
    reason: str = ""

    @property
    def full(self) -> int | None:
        """Index of the first reading at 100 %, None if there is none."""
        reached = np.flatnonzero(self.percent >= 100)
        return int(reached[0]) if reached.size else None

    def start(self, record: Record) -> float | None:
        """Level [%] at which the charge started: the last one known before it, else the next."""
        known = np.flatnonzero(np.isfinite(self.percent))
        if known.size == 0:
            return None
        before = known[known <= record.first]
        return float(self.percent[before[-1] if before.size else known[0]])

    def end(self) -> float | None:
        """Level [%] that was known last."""
        known = self.percent[np.isfinite(self.percent)]
        return float(known[-1]) if known.size else None


def level_of(record: Record) -> Level:
    """The level that the file states, else the one that follows from the charge."""
    if record.battery is not None:
        return Level(
            percent=record.battery,
            source="battery",
            half_width=level_resolution(record.battery) / 2,
        )
    return _inferred(record)


def end_of_charge(record: Record, *, level: Level) -> int | None:
    """Index of the first reading after the charge; None if the charge goes on to the last one.

    The first one at 100 %, else the first from which on the current stays below 5 % of its peak.
    """
    if level.full is not None:
        return level.full
    return _finish(record.values["output_current"], record=record)


def charge_share(values: Readings, *, record: Record) -> FloatArray | None:
    """Share [%] of the whole charge that was delivered before each reading.

    None when the charge does not end in the record, or no charge stayed in the device.
    """
    current = values["output_current"]
    finish = _finish(current, record=record)
    if finish is None:
        return None
    delivered = running_integral(record.time_s, y=current, joined=record.joined)
    delivered = delivered - delivered[record.first]
    if delivered[finish] <= 0:
        return None
    percent = 100 * (delivered / delivered[finish])
    percent[: record.first] = np.nan
    percent[finish:] = 100.0
    return np.asarray(percent, dtype=np.float64)


def _inferred(record: Record) -> Level:
    current = record.values["output_current"]
    unknown = np.full(len(current), np.nan)
    finish = _finish(current, record=record)
    percent = charge_share(record.values, record=record)
    if finish is None or percent is None:
        return Level(
            unknown,
            "",
            reason=(
                "The file states no battery level, and the current never stays below "
                f"{100 * END_SHARE:g} % of its peak, so that the whole charge is not known and no "
                "level can be inferred."
            ),
        )
    hidden = _hidden_share(record, finish=finish)
    if hidden > MOST_HIDDEN_SHARE:
        return Level(
            unknown,
            "",
            reason=(
                "The file states no battery level, and its gaps may hide more than "
                f"{100 * MOST_HIDDEN_SHARE:g} % of the charge, so that no level can be inferred."
            ),
        )
    return Level(percent=percent, source="charge", half_width=100 * hidden)


def _finish(current: FloatArray, *, record: Record) -> int | None:
    """The first reading from which on the current [A] stays below 5 % of its peak."""
    peak = float(np.max(current[record.first : record.last + 1]))
    high = np.flatnonzero(current >= END_SHARE * peak)
    finish = int(high[-1]) + 1 if high.size else 0
    return finish if record.first < finish < len(current) else None


def _hidden_share(record: Record, *, finish: int) -> float:
    """Most charge that gaps may hide, at the higher of their ends' currents, over the rest."""
    counted = slice(record.first, finish)
    current = record.values["output_current"]
    gaps = ~record.joined[counted]
    higher = np.maximum(np.abs(current[:-1]), np.abs(current[1:]))[counted]
    hidden = float(np.sum((np.diff(record.time_s)[counted] * higher)[gaps]))
    delivered = running_integral(record.time_s, y=current, joined=record.joined)
    total = float(delivered[finish] - delivered[record.first])
    return hidden / total
