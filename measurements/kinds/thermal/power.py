"""The output power during a soak: whether it was full, and whether it was reduced."""

from __future__ import annotations

import math
from dataclasses import dataclass

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import AdapterFacts, PortFacts, Setup
from measurements.kinds.strongest import port_power_w
from measurements.metrics.throttling import (
    ClosingMean,
    LevelError,
    PowerCourse,
    Reduction,
    closing_mean,
    power_course,
)
from measurements.metrics.uncertainty import rectangular

POWER_COLUMN = "output_power_w"
CLOSING_S = 600.0

# From this part of the rated power on, a soak counts as one at full load: as for ripple.
FULL_LOAD_SHARE = 0.9

# Below this part of its first level an output is off, not reduced. The project's own bound.
_OFF_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class OutputPower:
    """The output power [W] of a soak, `time_s` [s] counted from the first row.

    `course` is None when the readings do not show the level from which a reduction counts;
    `unclear` then says why. `closing` is the mean of the last ten minutes. `full_w` is the power
    that counts as full load, None when the catalogue does not tell. `relative_uncertainty` is that
    of any reading from the gains of the meters, None when no meter is named.
    """

    readings: FloatArray
    course: PowerCourse | None
    unclear: str
    closing: ClosingMean | None
    full_w: float | None
    relative_uncertainty: float | None

    @property
    def throttled(self) -> tuple[Reduction, ...]:
        """Every sustained reduction that left the output on."""
        return tuple(item for item in self._reductions if not self._is_off(item))

    @property
    def off(self) -> Reduction | None:
        """The first stretch in which the output was off, or None."""
        return next((item for item in self._reductions if self._is_off(item)), None)

    @property
    def partial(self) -> str:
        """The sentence that the load was no full load, or an empty text."""
        if self.course is None or self.full_w is None:
            return ""
        if self.course.level >= FULL_LOAD_SHARE * self.full_w:
            return ""
        return (
            f"The load took {self.course.level:.4g} W, under {FULL_LOAD_SHARE:.0%} of the rated "
            f"{self.full_w:.4g} W."
        )

    @property
    def _reductions(self) -> tuple[Reduction, ...]:
        return () if self.course is None else self.course.reductions

    def _is_off(self, reduction: Reduction) -> bool:
        return self.course is not None and reduction.level < _OFF_SHARE * self.course.level


def output_power_of(table: Table, setup: Setup, *, time_s: FloatArray) -> OutputPower | None:
    """The output power of a checked table, None when it was not logged."""
    if POWER_COLUMN not in table:
        return None
    readings = table[POWER_COLUMN]
    course, unclear = None, ""
    try:
        course = power_course(time_s, power=readings)
    except LevelError as reason:
        unclear = str(reason)
    loaded = course is not None and time_s[-1] - course.load_on >= CLOSING_S
    return OutputPower(
        readings=readings,
        course=course,
        unclear=unclear,
        closing=closing_mean(time_s, value=readings, window=CLOSING_S) if loaded else None,
        full_w=full_load_w(setup.adapter, port=setup.port),
        relative_uncertainty=_relative_uncertainty(setup),
    )


def full_load_w(adapter: AdapterFacts, *, port: PortFacts | None) -> float | None:
    """Power [W] that counts as full load of a port, or of the strongest one when none is given."""
    if port is None:
        strongest = max(
            (power for item in adapter.ports if (power := port_power_w(adapter, item))),
            default=adapter.rated_power_w,
        )
        return min(adapter.rated_power_w, strongest)
    power = port_power_w(adapter, port)
    if power is None and len(adapter.ports) <= 1:
        power = adapter.rated_power_w
    return power


def reduction_text(power: OutputPower, reduction: Reduction) -> str:
    """A reduction as a clause: what it fell from and to, when, and whether it came back."""
    level = 0.0 if power.course is None else power.course.level
    text = f"from {level:.4g} W to {reduction.level:.4g} W at {reduction.onset / 60:.3g} min"
    if reduction.recovery is None:
        return f"{text}, to the end of the record"
    return f"{text}, and was back at {reduction.recovery / 60:.3g} min"


def _relative_uncertainty(setup: Setup) -> float | None:
    """Of the power, from the gains of the first meters of output voltage and current.

    What is fixed in their accuracy cannot be turned into power without voltage and current, which
    the record does not hold.
    """
    named = [
        meters[0].reading_percent
        for quantity in ("output_voltage", "output_current")
        if (meters := setup.accuracies_of(quantity))
    ]
    if not named:
        return None
    return math.hypot(*(rectangular(percent / 100) for percent in named))
