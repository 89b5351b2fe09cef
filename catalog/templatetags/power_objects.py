"""Power data objects and findings about them, as a page says them."""

from __future__ import annotations

from collections.abc import Mapping

from django import template

from catalog.power_delivery.base import Kind, SupplyRange
from catalog.power_delivery.layout import PEAK_CURRENT_PERCENT
from catalog.power_delivery.rules import Severity
from catalog.power_delivery.sources import SOURCES, Standing

register = template.Library()

MISSING = "–"

KINDS: Mapping[Kind, str] = {
    "fixed": "Fixed",
    "battery": "Battery",
    "variable": "Variable",
    "pps": "Programmable (SPR PPS)",
    "avs-epr": "Adjustable (EPR AVS)",
    "avs-spr": "Adjustable (SPR AVS)",
    "padding": "Padding, offers nothing",
    "reserved": "Reserved, without meaning yet",
}
FLAGS: Mapping[str, str] = {
    "dual-role-power": "dual-role power",
    "usb-suspend-supported": "USB suspend supported",
    "unconstrained-power": "unconstrained power",
    "usb-communications": "USB communications capable",
    "dual-role-data": "dual-role data",
    "unchunked-extended-messages": "unchunked extended messages supported",
    "epr-mode-capable": "EPR mode capable",
    "power-limited": "power limited",
    "reserved-bits-set": "reserved bits set",
    **{
        f"peak-current-{percent}-percent": f"peak current {percent} %"
        for percent in PEAK_CURRENT_PERCENT[1:]
    },
}
SIGNS: Mapping[Severity, str] = {"error": "✕", "warning": "!", "note": "·"}
STANDINGS: Mapping[Standing, str] = {
    "seen": "read in the source",
    "secondary": "read in a reproduction of the source",
    "from memory": "from memory, not checked against the text",
    "common practice": "common practice",
}


@register.filter
def kind_words(kind: Kind) -> str:
    """The kind of an object in words."""
    return KINDS[kind]


@register.filter
def flag_words(flags: tuple[str, ...]) -> str:
    """The flags of an object in words; a dash for none."""
    return ", ".join(FLAGS[flag] for flag in flags) or MISSING


@register.filter
def voltage_words(supply: SupplyRange) -> str:
    """The voltages of a range as figures [V]."""
    low, high = supply.voltage_min_v, supply.voltage_max_v
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


@register.filter
def plain_number(value: float | None) -> str:
    """A quantity without needless zeros; a dash for none."""
    return MISSING if value is None else f"{value:.10g}"


@register.filter
def severity_sign(severity: Severity) -> str:
    """The sign that goes before the word of a severity."""
    return SIGNS[severity]


@register.filter
def source_words(source: str) -> str:
    """Title and edition of a source of the rules."""
    found = SOURCES[source]
    return f"{found.title}, {found.edition}"


@register.filter
def standing_words(standing: Standing) -> str:
    """How a rule was obtained, as the end of a sentence."""
    return STANDINGS[standing]
