"""The sections of a fact sheet and their order. Imports nothing: the settings read it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

SECTIONS: Mapping[str, str] = {
    "identity": "Identity and size",
    "profiles": "Profiles",
    "standby": "Standby",
    "efficiency": "Efficiency",
    "heat": "Heat",
    "ripple": "Ripple",
    "sharing": "Sharing",
    "devices": "Devices",
    "charge": "Charge",
    "further": "Further measurements",
    "verdicts": "Verdicts",
    "cautions": "Cautions",
}
"""Titles by key, in the order that stands where a bench does not set one."""

OPTIONAL = "further"
"""The one section that a sheet leaves out while it has nothing: for kinds that came later."""

SECTION_OF_KIND: Mapping[str, str] = {
    "port-scan": "profiles",
    "no-load": "standby",
    "efficiency": "efficiency",
    "thermal": "heat",
    "ripple": "ripple",
    "sharing": "sharing",
    "device-match": "devices",
    "charge": "charge",
}
"""Where the values of a kind of run stand; those of any other kind stand under `OPTIONAL`."""


def completed(named: Iterable[str]) -> tuple[str, ...]:
    """Every section once: those named first, the others behind them in their usual order."""
    return tuple(dict.fromkeys((*named, *SECTIONS)))
