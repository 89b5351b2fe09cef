"""What an adapter's maker states in watts and volts, against what was seen of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

from catalog.models import Adapter, LabelClaim
from catalog.power_delivery.capability import highest_current_a, highest_power_w
from comparisons.queries.placements import Placement
from measurements.queries import PortCapability, condition_in_words
from measurements.templatetags.figures import figure, uncertainty

# Metrics that saw a power at the outputs, and how a sentence names them. [W]
SEEN_BY = {
    "sharing-total": "several ports together",
    "sustained-power": "sustained over a soak",
    "matched-power": "into a reference device",
    "charge-peak-power": "peak of a charge",
}

# Not all that was measured: an efficiency run sets loads up to the full one and finds no most.
HIGHEST_OF_ITS = "highest comparable power of its soaks, shared ports, devices and charges"

# A scan may be silent about them, as one that lists protocols only.
NONE_READ = "The scan read no power data object of it."

# Ratings and objects are whole steps of tenths of a watt and hundredths of an ampere; what is
# closer than this is the same statement (common practice).
SAME_W = 0.5
SAME_A = 0.01


@dataclass(frozen=True, slots=True)
class Rating:
    """A statement of the maker, and what a measurement or a scan says to it.

    `found` is "" where nothing was measured or scanned; `words` then says so.
    """

    what: str
    stated: str
    found: str
    words: str
    run_id: UUID | None = None
    agrees: bool = False
    """Whether it is a line of the label that a scan found advertised as claimed."""


def strongest(placed: Iterable[Placement]) -> Placement | None:
    """The highest comparable power of the methods of `SEEN_BY`; None where none of them has one."""
    seen = [
        item
        for item in placed
        if item.metric.key in SEEN_BY and not item.apart and item.source != "table"
    ]
    return max(seen, key=lambda item: item.value, default=None)


def ratings(
    adapter: Adapter, *, placed: Sequence[Placement], capabilities: Sequence[PortCapability]
) -> tuple[Rating, ...]:
    """The rating of the whole, of every port, and every voltage claimed, each with what was found.

    Arithmetic on what was read already; no query.
    """
    rows = [_whole(adapter, strongest(placed))]
    rows += [_port(item) for item in capabilities if item.port.rated_power_w is not None]
    rows += [
        _claim(claim, claim.voltage_v, claim.current_a, capabilities)
        for claim in adapter.claims.all()
        if claim.voltage_v is not None and claim.current_a is not None
    ]
    return tuple(rows)


def _whole(adapter: Adapter, seen: Placement | None) -> Rating:
    stated = f"{adapter.rated_power_w:g} W"
    if seen is None:
        words = "No soak, shared ports, device or charge has a comparable power yet."
        return Rating("Rated power", stated, "", words)
    decimals = seen.metric.decimals
    margin = uncertainty(seen.expanded_uncertainty, decimals)
    share = 100 * seen.value / adapter.rated_power_w
    condition = condition_in_words(seen.condition)
    where = "" if condition == "no condition" else f" ({condition})"
    return Rating(
        "Rated power",
        stated,
        f"{figure(seen.value, decimals)} {margin} W",
        f"{share:.0f} % of the rating, {SEEN_BY[seen.metric.key]}{where}: the {HIGHEST_OF_ITS}.",
        seen.run_id,
    )


def _port(item: PortCapability) -> Rating:
    rated = item.port.rated_power_w
    assert rated is not None
    what, stated = f"Port {item.port.label}", f"{rated:g} W"
    if item.run_id is None:
        return Rating(what, stated, "", "Not scanned.")
    if not item.objects:
        return Rating(what, stated, "", NONE_READ, item.run_id)
    best = highest_power_w(item.objects)
    found = f"{best:g} W advertised"
    if abs(best - rated) < SAME_W:
        words = "As rated."
    else:
        words = f"{abs(best - rated):g} W {'more' if best > rated else 'less'} than rated."
    return Rating(what, stated, found, words, item.run_id)


def _claim(
    claim: LabelClaim, voltage_v: float, current_a: float, capabilities: Sequence[PortCapability]
) -> Rating:
    where = f"Label, {claim.port.label}" if claim.port else "Label"
    asked = [
        item
        for item in capabilities
        if item.run_id is not None and item.objects and claim.port_id in (None, item.port.pk)
    ]
    if not asked:
        read = any(item.run_id for item in capabilities if claim.port_id in (None, item.port.pk))
        words = NONE_READ if read else "Not scanned."
        return Rating(where, claim.text, "", words)
    offers = [
        (current, item.run_id)
        for item in asked
        if (current := highest_current_a(item.objects, voltage_v=voltage_v)) is not None
    ]
    if not offers:
        return Rating(where, claim.text, "", f"No object reaches {voltage_v:g} V.", asked[0].run_id)
    current, run_id = max(offers, key=lambda offer: offer[0])
    found = f"{current:g} A at {voltage_v:g} V"
    if current >= current_a - SAME_A:
        return Rating(where, claim.text, found, "Advertised as claimed.", run_id, agrees=True)
    return Rating(
        where,
        claim.text,
        found,
        f"Advertises {current_a - current:.3g} A less than claimed.",
        run_id,
    )
