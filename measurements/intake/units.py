"""Units as the trade spells them, converted by the unit library.

Only the spellings listed here are units. The library itself knows thousands, among them
"in" (inch) and "C" (coulomb), which in a heading of a bench log mean something else.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from typing import Any

import numpy as np

from measurements.intake.columns import FloatArray

_PREFIXES = {"": "", "n": "n", "u": "u", "μ": "u", "m": "m", "k": "k", "M": "M"}
_SCALED = {
    "W": "W",
    "V": "V",
    "A": "A",
    "J": "J",
    "Hz": "Hz",
    "Ω": "ohm",
    "ohm": "ohm",
    "Ohm": "ohm",
    "Wh": "Wh",
    "W·h": "Wh",
    "W.h": "Wh",
    "Ah": "Ah",
    "A·h": "Ah",
    "A.h": "Ah",
    "VA": "V*A",
    "V·A": "V*A",
    "V.A": "V*A",
    "V*A": "V*A",
}
_UNSCALED = {
    "s": ("s", "sec", "secs", "second", "seconds"),
    "ms": ("ms", "msec"),
    "us": ("us", "μs", "usec"),
    "ns": ("ns", "nsec"),
    "min": ("min", "mins", "minute", "minutes"),
    "h": ("h", "hr", "hrs", "hour", "hours"),
    "degC": ("°C", "degC", "deg C", "° C", "C", "Cel", "celsius", "Celsius"),
    "degF": ("°F", "degF", "deg F", "° F", "F", "fahrenheit", "Fahrenheit"),
    "K": ("K", "kelvin", "Kelvin"),
    "%": ("%", "percent", "Percent", "pct"),
    # Peak to peak is a dimension of its own here: an RMS value, or a plain voltage, read as
    # peak to peak would be wrong by the crest factor and look right.
    "Vpp": ("Vpp", "Vp-p", "V pp", "V p-p", "Vpk-pk", "V pk-pk"),
    "mVpp": ("mVpp", "mVp-p", "mV pp", "mV p-p", "mVpk-pk", "mV pk-pk"),
    "uVpp": ("uVpp", "μVpp", "uVp-p", "μVp-p", "uV pp", "μV pp", "uV p-p", "μV p-p"),
    "": ("1", "-", ""),
}
# In a heading of lower-case words joined by underscores the unit is lower case as well;
# m is then milli, for no bench log of an adapter is in megawatts.
_SUFFIXES = {
    **{unit.lower(): unit for unit in ("W", "mW", "kW", "V", "mV", "kV", "A", "mA", "uA")},
    **{unit.lower(): unit for unit in ("Wh", "mWh", "Ah", "mAh", "Hz", "kHz", "ohm", "mohm")},
    **{unit: unit for unit in ("s", "ms", "us", "ns", "min", "h")},
    **{"sec": "s", "c": "degC", "degc": "degC", "f": "degF", "degf": "degF", "k": "K"},
    **{"percent": "%", "pct": "%", "vpp": "Vpp", "mvpp": "mVpp", "uvpp": "uVpp"},
}
_SHOWN = {"degC": "°C", "degF": "°F", "": "no unit"}
# The degree sign has two look-alikes that compatibility normalisation would take apart.
_DEGREE_SIGNS = str.maketrans({"º": "°", "˚": "°"})


class UnitError(ValueError):
    """A unit that is not known, or that measures something else."""


def plain(text: str) -> str:
    """Text with look-alike characters unified and invisible ones removed."""
    unified = unicodedata.normalize("NFKC", text.translate(_DEGREE_SIGNS))
    return "".join(sign for sign in unified if unicodedata.category(sign) != "Cf").strip()


@cache
def _spellings() -> dict[str, str]:
    known = {
        prefix + spelling: _PREFIXES[prefix] + unit
        for prefix in _PREFIXES
        for spelling, unit in _SCALED.items()
    }
    for unit, spellings in _UNSCALED.items():
        known |= dict.fromkeys(spellings, unit)
    return known


def recognise(spelling: str) -> str | None:
    """The unit library's name of a unit, or None when the spelling is not a known unit.

    Capitals count: mW is milliwatt, MW is megawatt. A ratio without unit gives ``""``.
    """
    return _spellings().get(plain(spelling))


def recognise_suffix(suffix: str) -> str | None:
    """The unit that a lower-case heading ends in: ``c`` of ``top_c`` gives ``degC``."""
    return _SUFFIXES.get(suffix)


def shown(unit: str) -> str:
    """A unit library's name the way a person writes it: ``degC`` gives °C."""
    if unit in _SHOWN:
        return _SHOWN[unit]
    spoken = unit.replace("V*A", "VA").replace("ohm", "Ω")
    return "µ" + spoken[1:] if spoken.startswith("u") else spoken


@cache
def _registry() -> Any:
    # Building the registry takes longer than reading a small file, and many files need none.
    import pint  # noqa: PLC0415

    registry: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=False)
    registry.define("peak_to_peak = [peak_to_peak]")
    registry.define("volt_peak_to_peak = volt * peak_to_peak = Vpp")
    return registry


def _unit(spelling: str) -> Any:
    name = recognise(spelling)
    if name is None:
        raise UnitError(f"‘{spelling}’ is not a known unit.")
    return _registry().Unit(name)


@cache
def compatible(first: str, second: str) -> bool:
    """Whether two units measure the same quantity. Raises `UnitError` for an unknown one.

    Volt-amperes are no watts here, although their dimension is the same: apparent power
    read as active power would be wrong by the power factor.
    """
    units = _unit(first), _unit(second)
    apparent = [(recognise(spelling) or "").endswith("V*A") for spelling in (first, second)]
    return units[0].dimensionality == units[1].dimensionality and apparent[0] == apparent[1]


def convert(values: FloatArray, *, from_unit: str, to_unit: str) -> FloatArray:
    """Values in another unit of the same dimension; temperatures with their zero point.

    Parameters
    ----------
    values : array of float
        In `from_unit`; NaN stays NaN.
    from_unit, to_unit : str
        Any spelling that `recognise` knows.

    Raises
    ------
    UnitError
        A unit is unknown, or the two measure different dimensions.
    """
    if not compatible(from_unit, to_unit):
        raise UnitError(f"{from_unit or 'A ratio'} cannot be converted to {to_unit or 'a ratio'}.")
    source, target = _unit(from_unit), _unit(to_unit)
    if source == target:
        return values
    converted = _registry().Quantity(np.asarray(values, dtype=np.float64), source).to(target)
    return np.asarray(converted.magnitude, dtype=np.float64)
