"""How findings name objects and quantities."""

from __future__ import annotations

from collections.abc import Iterable

from catalog.power_delivery.objects import DataObject

_KIND_NAMES = {
    "fixed": "fixed",
    "battery": "battery",
    "variable": "variable",
    "pps": "programmable",
    "avs-epr": "EPR adjustable",
    "avs-spr": "SPR adjustable",
    "padding": "padding",
    "reserved": "reserved",
}


def named(data_object: DataObject) -> str:
    """Position, kind and quantities: ``object 2 (fixed, 9 V, 3 A)``.

    Parameters
    ----------
    data_object : DataObject
        Any object. [V, A and W]

    Returns
    -------
    text : str
        The words that stand for it in a sentence; voltage in V, current in A. [-]
    """
    parts = [_KIND_NAMES[data_object.kind]]
    lowest, highest = data_object.voltage_min_v, data_object.voltage_max_v
    if lowest is not None and highest is not None:
        parts.append(f"{highest:g} V" if lowest == highest else f"{lowest:g} to {highest:g} V")
    if data_object.current_max_a is not None:
        parts.append(f"{data_object.current_max_a:g} A")
    elif data_object.power_max_w is not None:
        parts.append(f"{data_object.power_max_w:g} W")
    return f"object {data_object.position} ({', '.join(parts)})"


def capital(text: str) -> str:
    """The text with its first letter raised, the rest as it is. [-]"""
    return text[:1].upper() + text[1:]


def listed(texts: Iterable[str]) -> str:
    """The texts as a sentence lists them: ``a, b and c``. [-]"""
    kept = list(texts)
    return " and ".join([", ".join(kept[:-1]), kept[-1]]) if len(kept) > 1 else "".join(kept)
