"""What the file and the form give: which form of table, stated fields, what counts as no load."""

from __future__ import annotations

import math
from typing import Literal

from measurements.intake.columns import Table
from measurements.kinds.advertised import advertised_current
from measurements.kinds.base import Setup

READINGS = ("output_nominal_v", "output_current_a", "ripple_mv_pp")
WAVEFORM = ("time_s", "voltage_v")

Form = Literal["readings", "waveform"]

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


def no_load_limit(setup: Setup, *, voltage_v: float) -> float:
    """Current [A] below which a point counts as without load at a voltage [V]."""
    advertised = advertised_current(setup, voltage_v=voltage_v)
    return NO_LOAD_CURRENT_A if advertised is None else NO_LOAD_SHARE * advertised


def mains_frequency(setup: Setup) -> float | None:
    """Mains frequency [Hz] as stated, else that of most places with this mains voltage."""
    return setup.mains_hz or {"high": 50.0, "low": 60.0}.get(setup.line)
