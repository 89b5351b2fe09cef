"""What is advertised of the port under test: by itself when it was scanned, else on the label."""

from __future__ import annotations

from measurements.kinds.base import AdvertisedOutput, Setup

# Half a step of a fixed supply: labels print what was rounded to the step.
SAME_VOLTAGE_V = 0.025


def advertised_outputs(setup: Setup) -> tuple[AdvertisedOutput, ...]:
    """What is stated for the port under test, or for all ports when none is given."""
    if setup.port is None:
        return setup.adapter.advertised
    return tuple(item for item in setup.adapter.advertised if item.port in ("", setup.port.label))


def advertised_current(setup: Setup, *, voltage_v: float) -> float | None:
    """Highest advertised current [A] at a voltage [V], or None.

    What a port says when it is scanned goes before what the maker printed, and in either what
    is stated for the port itself before what is stated for any port.
    """
    fitting = [
        item
        for item in advertised_outputs(setup)
        if abs(item.voltage_v - voltage_v) <= SAME_VOLTAGE_V and item.current_a > 0
    ]
    scanned = [item for item in fitting if item.source == "profile"]
    best = scanned or fitting
    own = [item for item in best if setup.port is not None and item.port]
    return max((item.current_a for item in own or best), default=None)
