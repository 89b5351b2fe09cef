"""Our units as codes of UCUM, the Unified Code for Units of Measure, and what they measure.

The tests parse every code with a library of the whole UCUM grammar.
"""

from __future__ import annotations

_PREFIXES = ("", "n", "u", "m", "k", "M")
# As the unit library of the intake spells them, and as pages show them.
_PREFIXED = {
    "W": ("W", "power"),
    "V": ("V", "voltage"),
    "A": ("A", "electric current"),
    "J": ("J", "energy"),
    "Hz": ("Hz", "frequency"),
    "ohm": ("Ohm", "resistance"),
    "Ω": ("Ohm", "resistance"),
    "Wh": ("W.h", "energy"),
    "Ah": ("A.h", "electric charge"),
    "V*A": ("V.A", "apparent power"),
    # UCUM has no unit of its own for peak to peak: the quantity says it.
    "Vpp": ("V", "peak-to-peak voltage"),
    "s": ("s", "duration"),
}
_WHOLE = {
    "": ("1", "dimensionless quantity"),
    "1": ("1", "dimensionless quantity"),
    "%": ("%", "ratio"),
    "K": ("K", "temperature difference"),
    "K/h": ("K/h", "rate of temperature change"),
    "W/cm³": ("W/cm3", "power per volume"),
    "W/g": ("W/g", "power per mass"),
    "kWh/a": ("kW.h/a", "energy per time"),
    "°C": ("Cel", "Celsius temperature"),
    "degC": ("Cel", "Celsius temperature"),
    "degF": ("[degF]", "temperature"),
    "min": ("min", "duration"),
    "h": ("h", "duration"),
    "mm": ("mm", "length"),
    "g": ("g", "mass"),
    "byte": ("By", "information content"),
    "pixel": ("{pixel}", "count"),
}
_KNOWN = {
    **{
        prefix + unit: (prefix + code, quantity)
        for prefix in _PREFIXES
        for unit, (code, quantity) in _PREFIXED.items()
    },
    **_WHOLE,
}


def known_units() -> tuple[str, ...]:
    """Every unit that has a code here."""
    return tuple(_KNOWN)


def ucum_of(unit: str) -> str:
    """The UCUM code of a unit of a metric or a column. Raises `KeyError` for an unknown one."""
    return _KNOWN[unit][0]


def quantity_of(unit: str) -> str:
    """The kind of quantity that a unit measures, in words. Raises `KeyError` as `ucum_of`."""
    return _KNOWN[unit][1]
