"""How much of a difference of two charges may come from the levels at which they started."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from measurements.metrics.uncertainty import rectangular

SECONDS_PER_HOUR = 3600.0
# A start is told in whole percents: half of one may be missing of either.
_TWO_HALF_STEPS = 1.0


@dataclass(frozen=True, slots=True)
class Start:
    """How a charge began, and how far it went.

    `percent` and `end_percent` are its levels [%], `s_per_percent` [s] the time that one percent
    took at first and `power_w` [W] the mean power meanwhile, None if it is not known.
    """

    percent: float
    end_percent: float
    s_per_percent: float
    power_w: float | None


def start_of(facts: Mapping[str, Any]) -> Start | None:
    """The start of a run from the facts that its kind keeps; None if they do not tell it."""
    pace, percent, end = facts.get("pace"), facts.get("start_level"), facts.get("end_level")
    if pace is None or percent is None or end is None:
        return None
    return Start(float(percent), float(end), pace["s_per_percent"], pace["power_w"])


def start_effects(
    starts: tuple[Start, Start], values: Sequence[Mapping[str, float]]
) -> dict[str, float]:
    """Standard uncertainty that two starts add to a difference, by metric.

    `values` are those of each charge. Each gives the effect at its own pace, of which the larger
    counts, as a bound without a distribution (JCGM 100:2008, 4.3.7). The times carry their
    starts already.
    """
    apart = abs(starts[0].percent - starts[1].percent) + _TWO_HALF_STEPS
    bounds: dict[str, float] = {}
    for start, own in zip(starts, values, strict=True):
        energy, mean = own.get("charge-energy", 0.0), own.get("charge-mean-power", 0.0)
        found = {
            "charge-energy": apart * abs(energy) / max(start.end_percent - start.percent, 1.0),
            "charge-mean-power": _mean_bound(start, apart=apart, energy_wh=energy, mean_w=mean),
        }
        bounds = {key: max(bound, bounds.get(key, 0.0)) for key, bound in found.items()}
    return {key: rectangular(bound) for key, bound in bounds.items()}


def _mean_bound(start: Start, *, apart: float, energy_wh: float, mean_w: float) -> float:
    """By how much [W] the mean power changes with `apart` percent more at the pace of the start."""
    if start.power_w is None or energy_wh <= 0 or mean_w <= 0:
        return 0.0
    duration = energy_wh * SECONDS_PER_HOUR / mean_w
    return abs(start.power_w - mean_w) * apart * start.s_per_percent / duration
