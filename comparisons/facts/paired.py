"""What several ports give together, and what reference devices draw."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from comparisons.facts.sheets import Fact
from comparisons.facts.values import placed_fact, sources_of, value_of
from comparisons.facts.words import NBSP, quantity
from comparisons.queries.fact_material import FactMaterial
from comparisons.queries.placements import Placement
from measurements.kinds.device_match.rate import MATCHED_SHARE, NO_POWER_W, is_matched
from measurements.kinds.instruments import listed
from measurements.templatetags.figures import figure

FULL_SPEED_PERCENT = round(100 * MATCHED_SHARE)

_JOINED = "+"


def sharing_facts(material: FactMaterial) -> Iterator[Fact]:
    """The total, the part of the rating that is kept, and what each port gets."""
    for key, text in (
        ("sharing-total", "Several ports in use together give at most {}."),
        ("sharing-kept", "With several ports in use it keeps {} of its rated power."),
    ):
        for placed in material.of(key):
            yield placed_fact(material, placed, text.format(value_of(placed)))
    measured = next((item for item in material.of("sharing-total") if item.run_id), None)
    if measured is not None:
        yield from _shares(material, measured)


def _shares(material: FactMaterial, measured: Placement) -> Iterator[Fact]:
    """Each port's power in the first whole combination of the most ports."""
    whole = [
        item
        for item in material.shared.get("facts", {}).get("combinations", ())
        if item["total_w"] is not None and len(item["ports"]) > 1
    ]
    if not whole:
        return
    fullest = max(whole, key=lambda item: len(item["ports"]))
    name = fullest["combination"]
    expanded = _stated_uncertainties(material.shared, name)
    used = listed(name.split(_JOINED))
    for port, reading in fullest["ports"].items():
        power = quantity(reading["power_w"], expanded.get(port), unit="W", decimals=1)
        yield Fact(
            f"With {used} in use together, plugged in in that order, port {port} gives {power}.",
            sources=sources_of(material, measured),
        )


def _stated_uncertainties(details: Mapping[str, Any], combination: str) -> dict[str, float]:
    """U of each port's power [W], from the listing that the run keeps."""
    listing = next((item for item in details.get("listings", ()) if item["key"] == "ports"), None)
    if listing is None:
        return {}
    column = listing["headings"].index("U (k = 2), W")
    return {row[1]: float(row[column]) for row in listing["rows"] if row[0] == combination}


def device_facts(material: FactMaterial) -> Iterator[Fact]:
    """The match rate, and what each device drew against its best."""
    for placed in material.of("match-rate"):
        yield placed_fact(
            material,
            placed,
            f"Of the reference devices tried with it, {value_of(placed)} drew at least "
            f"{FULL_SPEED_PERCENT}{NBSP}% of the most that any adapter here gave them.",
        )
    for placed in material.of("matched-power"):
        device = material.devices.get(placed.condition.device, placed.condition.device)
        text = f"The {device} drew {value_of(placed)}{_share(placed)}."
        fact = placed_fact(material, placed, text)
        yield replace(fact, care=(*_reason(material, placed), *fact.care))


def _best_w(placed: Placement) -> float | None:
    """The most that any adapter gave the device [W]; None where that is no charging."""
    if placed.cohort is None or float(placed.cohort.values[0]) < NO_POWER_W:
        return None
    return float(placed.cohort.values[0])


def _share(placed: Placement) -> str:
    best = _best_w(placed)
    if best is None:
        return ""
    share = figure(100 * placed.value / best, 0)
    return f", {share}{NBSP}% of the most that any adapter here gave it"


def _reason(material: FactMaterial, placed: Placement) -> tuple[str, ...]:
    """Why a device charges slowly even on its best port, where the scan gives a reason."""
    best = _best_w(placed)
    if best is None or is_matched(placed.value, best_w=best):
        return ()
    slow = [
        item.slow
        for item in material.slow_pairings
        if item.slow.pair.device == placed.condition.device and item.slow.reason
    ]
    if not slow:
        return ()
    return (max(slow, key=lambda item: item.pair.power_w).reason,)
