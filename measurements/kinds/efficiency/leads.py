"""The lead between receptacle and voltmeter, and how well its resistance is known."""

from __future__ import annotations

from dataclasses import dataclass

from measurements.kinds.base import Setup
from measurements.metrics.uncertainty import rectangular

# Under this name the resistance stands beside the quantities that instruments measure.
RESISTANCE = "lead_resistance"

# Milliohms by a hand-held meter are seldom known better: this project's own number.
ASSUMED_ACCURACY_PERCENT = 10.0


@dataclass(frozen=True, slots=True)
class Lead:
    """Loop resistance [Ω], 0 without a lead, known to ± `accuracy_percent` [%]."""

    resistance_ohm: float
    accuracy_percent: float
    accuracy_assumed: bool

    @property
    def uncertainty_ohm(self) -> float:
        """Standard uncertainty of the resistance [Ω]; the accuracy is a bound, so rectangular."""
        return rectangular(self.accuracy_percent / 100 * self.resistance_ohm)


def lead_of(setup: Setup) -> Lead:
    """The lead as the form gives it."""
    resistance = setup.fields.get("lead_resistance_ohm")
    accuracy = setup.fields.get("lead_accuracy_percent")
    return Lead(
        resistance_ohm=0.0 if resistance is None else float(resistance),
        accuracy_percent=ASSUMED_ACCURACY_PERCENT if accuracy is None else float(accuracy),
        accuracy_assumed=accuracy is None,
    )
