"""What the file and the form give: which form of table, stated fields, the advertised current."""

from __future__ import annotations

import math
from typing import Literal

from measurements.intake.columns import Table
from measurements.kinds.base import AdvertisedOutput, Setup

READINGS = ("output_nominal_v", "output_current_a", "ripple_mv_pp")
WAVEFORM = ("time_s", "voltage_v")

Form = Literal["readings", "waveform"]

# Advertised voltages come in steps of 50 mV at the finest (USB Power Delivery data objects).
_SAME_VOLTAGE_V = 0.025

# Below this part of the advertised current, or this current [A] where none is advertised, a point
# counts as without load: an electronic load that is switched off, or a trigger alone.
NO_LOAD_SHARE = 0.005
NO_LOAD_CURRENT_A = 0.005

# From this part of the advertised current on, a load may stand for full load.
FULL_LOAD_SHARE = 0.9


def form_of(table: Table) -> Form:
    """Whether a table of one form holds readings or the samples of a waveform."""
    return "readings" if any(name in table for name in READINGS) else "waveform"


def stated(setup: Setup, name: str) -> float | None:
    """A number of the form, None when it was left empty.

    Raises
    ------
    ValueError
        What was given is no finite number.
    """
    given = setup.fields.get(name)
    if given is None or given == "":
        return None
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise ValueError(f"{name} is no number")
    number = float(given)
    if not math.isfinite(number):
        raise ValueError(f"{name} is not finite")
    return number


def advertised_outputs(setup: Setup) -> tuple[AdvertisedOutput, ...]:
    """What the maker states for the port under test, or for all ports when none is given."""
    if setup.port is None:
        return setup.adapter.advertised
    return tuple(item for item in setup.adapter.advertised if item.port in ("", setup.port.label))


def advertised_current(setup: Setup, *, voltage_v: float) -> float | None:
    """Highest advertised current [A] at a voltage [V], or None.

    What is stated for the port itself goes before what is stated for any port.
    """
    fitting = [
        item
        for item in advertised_outputs(setup)
        if abs(item.voltage_v - voltage_v) <= _SAME_VOLTAGE_V and item.current_a > 0
    ]
    own = [item for item in fitting if setup.port is not None and item.port]
    return max((item.current_a for item in own or fitting), default=None)


def no_load_limit(setup: Setup, *, voltage_v: float) -> float:
    """Current [A] below which a point counts as without load at a voltage [V]."""
    advertised = advertised_current(setup, voltage_v=voltage_v)
    return NO_LOAD_CURRENT_A if advertised is None else NO_LOAD_SHARE * advertised


def mains_frequency(setup: Setup) -> float | None:
    """Mains frequency [Hz] as stated, else that of most places with this mains voltage."""
    return setup.mains_hz or {"high": 50.0, "low": 60.0}.get(setup.line)
