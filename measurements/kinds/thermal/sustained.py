"""What a soak tells of the output power: how long it was full, and how much is left at the end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from measurements.kinds.base import Condition, Measured
from measurements.kinds.thermal.power import OutputPower
from measurements.kinds.thermal.soak import SHORTEST_SOAK_MIN, Soak
from measurements.metrics.uncertainty import rectangular, root_sum_square


def power_values(soak: Soak, *, line: str) -> Iterator[Measured]:
    """Onset of the first reduction, and the output power of the last ten minutes."""
    power = soak.power
    if power is None or power.course is None:
        return
    condition = Condition(line=line)
    if power.throttled:
        first = power.throttled[0]
        yield Measured(
            metric="throttle-onset",
            value=(first.onset - power.course.load_on) / 60,
            # It began somewhere between two readings, and the later one stands for it.
            standard_uncertainty=rectangular((first.onset - first.held_until) / 60),
            condition=condition,
            apart=soak.apart,
        )
    if power.closing is not None:
        yield Measured(
            metric="sustained-power",
            value=power.closing.mean,
            standard_uncertainty=root_sum_square(
                (
                    power.closing.standard_error,
                    (power.relative_uncertainty or 0.0) * abs(power.closing.mean),
                )
            ),
            condition=condition,
            apart=_apart(soak, power),
        )


def power_facts(soak: Soak) -> dict[str, Any] | None:
    """The course of the output power as plain JSON, None where it was not logged or is unclear."""
    if soak.power is None or soak.power.course is None:
        return None
    course = soak.power.course
    return {
        "load_on_min": course.load_on / 60,
        "level_w": course.level,
        "reductions": [
            {
                "onset_min": item.onset / 60,
                "level_w": item.level,
                "recovery_min": None if item.recovery is None else item.recovery / 60,
            }
            for item in course.reductions
        ],
    }


def _apart(soak: Soak, power: OutputPower) -> str:
    """Why the power of the last ten minutes cannot be compared with others, or an empty text."""
    reasons = [soak.apart]
    if soak.is_short:
        reasons.append(
            f"The record is {soak.duration_min:.4g} min long; heat reduces the output of some "
            f"adapters later than that, and {SHORTEST_SOAK_MIN:g} min are asked for."
        )
    if power.off is not None:
        reasons.append(
            "The output was off for a while, and the record does not tell whether the adapter "
            "switched off or the load was removed."
        )
    return " ".join(filter(None, reasons))
