"""Audit of what is offered against what the rated power calls for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from catalog.power_delivery import source_rules
from catalog.power_delivery.augmented import ExtendedAdjustableSupply, StandardAdjustableSupply
from catalog.power_delivery.capability import inferred_power_w
from catalog.power_delivery.objects import DataObject
from catalog.power_delivery.rules import Finding, Severity, found
from catalog.power_delivery.source_rules import RequiredProfile, share_of_power_a
from catalog.power_delivery.structure import is_extended
from catalog.power_delivery.supplies import FixedSupply
from catalog.power_delivery.wording import capital, listed, named

_GRID_A = 0.01
_HALF_STEP_A = _GRID_A / 2


@dataclass(frozen=True, slots=True)
class _Rating:
    """The power [W] that the rules are applied to, and how a sentence calls it.

    `declared` is false when the power was inferred from the fixed supplies.
    """

    power_w: float
    declared: bool

    @property
    def words(self) -> str:
        if self.declared:
            return f"the rating of {self.power_w:g} W"
        return f"{self.power_w:g} W, the most that a fixed supply offers,"


@dataclass(frozen=True, slots=True)
class _Scan:
    """The objects of a port, and whether EPR objects could have been missed."""

    objects: tuple[DataObject, ...]
    fixed: tuple[FixedSupply, ...]
    extended: tuple[DataObject, ...]
    announces_epr: bool

    def best_at(self, voltage_v: float) -> FixedSupply | None:
        """The fixed supply of that voltage [V] with the highest current."""
        there = [item for item in self.fixed if item.voltage_v == voltage_v]
        return max(there, key=lambda item: item.current_max_a, default=None)


def obligation_findings(
    objects: Sequence[DataObject],
    *,
    rated_power_w: float | None,
    port_rated_power_w: float | None,
) -> Iterator[Finding]:
    """What the source power rules, and the rating, give reason to say.

    The rules apply to the rating of the port. Without it they apply to the power inferred from
    the fixed supplies, and a departure is a warning; the rating of the adapter then only bounds
    what a port may offer, as a port of several may be rated for less.

    Parameters
    ----------
    objects : sequence of DataObject
        The objects of one port by ascending position. [V, A and W]
    rated_power_w : float or None
        Rating of the adapter. [W]
    port_rated_power_w : float or None
        Rating of this port. [W]

    Yields
    ------
    finding : Finding
        One a place. [-]
    """
    fixed = tuple(item for item in objects if isinstance(item, FixedSupply))
    scan = _Scan(
        tuple(objects),
        fixed,
        tuple(item for item in objects if is_extended(item)),
        announces_epr=any("epr-mode-capable" in item.flags for item in fixed),
    )
    if port_rated_power_w is not None:
        rating = _Rating(port_rated_power_w, declared=True)
    else:
        rating = _Rating(inferred_power_w(scan.objects), declared=False)
    yield from _extended_range(scan, rating=rating)
    if rating.power_w > 0 or rating.declared:
        yield from _required(scan, rating=rating)
        yield from _adjustable(scan, rating=rating)
    if port_rated_power_w is not None:
        yield from _rated(scan, power_w=port_rated_power_w, whose="port")
    elif rated_power_w is not None:
        yield from _rated(scan, power_w=rated_power_w, whose="adapter")


def _extended_range(scan: _Scan, *, rating: _Rating) -> Iterator[Finding]:
    expected = rating.declared and rating.power_w > source_rules.HIGHEST_SPR_POWER_W
    if not scan.extended and (scan.announces_epr or expected):
        reason = (
            "The first object announces the extended power range"
            if scan.announces_epr
            else f"{capital(rating.words)} calls for the extended power range"
        )
        detail = (
            f"{reason}, but the list holds no EPR object; they are sent only in EPR mode, "
            "through an EPR cable. What they offer is not judged."
        )
        yield found("epr-not-scanned", detail=detail)
    if not scan.announces_epr and (scan.extended or expected):
        detail = (
            "The first object does not set the flag epr-mode-capable, so that no device would "
            "ask for the extended power range."
        )
        yield found("epr-flag-missing", detail=detail, positions=[1])
    if any(isinstance(item, FixedSupply) for item in scan.extended) and not any(
        isinstance(item, ExtendedAdjustableSupply) for item in scan.extended
    ):
        places = [item.position for item in scan.extended]
        detail = (
            f"{capital(listed(named(item) for item in scan.extended))}: an EPR source offers an "
            "EPR adjustable supply as well."
        )
        yield found("avs-epr-missing", detail=detail, positions=places)


def _required(scan: _Scan, *, rating: _Rating) -> Iterator[Finding]:
    profiles = source_rules.required_profiles(rating.power_w)
    if not profiles:
        detail = (
            f"{capital(rating.words)} lies outside the {source_rules.LOWEST_POWER_W:g} to "
            f"{source_rules.HIGHEST_POWER_W:g} W of the source power rules; they were not applied."
        )
        yield found("rating-outside-rules", detail=detail)
    for profile in profiles:
        if profile.voltage_v > source_rules.HIGHEST_SPR_VOLTAGE_V and not scan.extended:
            continue
        yield from _required_profile(scan, rating=rating, profile=profile)


def _required_profile(
    scan: _Scan, *, rating: _Rating, profile: RequiredProfile
) -> Iterator[Finding]:
    severity: Severity = "error" if rating.declared else "warning"
    calls = f"{rating.words} calls for fixed {profile.voltage_v:g} V, {profile.current_a:g} A"
    best = scan.best_at(profile.voltage_v)
    if best is None:
        yield found(
            "required-voltage-missing",
            detail=f"{capital(calls)}; no fixed supply offers this voltage.",
            standing=profile.standing,
            severity=severity,
        )
    elif best.current_max_a < profile.current_a - _HALF_STEP_A:
        if _looks_cable_limited(best, profile=profile):
            yield found(
                "cable-limited-scan",
                detail=(
                    f"{capital(calls)}; {named(best)} may be what a source offers through a "
                    "3 A cable. Scan again with a cable marked for 5 A."
                ),
                positions=[best.position],
                standing=profile.standing,
            )
        else:
            yield found(
                "required-current-low",
                detail=f"{capital(calls)}; {named(best)} offers less.",
                positions=[best.position],
                standing=profile.standing,
                severity=severity,
            )


def _looks_cable_limited(best: FixedSupply, *, profile: RequiredProfile) -> bool:
    return (
        best.current_max_a == source_rules.PLAIN_CABLE_CURRENT_A
        and profile.current_a > source_rules.PLAIN_CABLE_CURRENT_A
    )


def _adjustable(scan: _Scan, *, rating: _Rating) -> Iterator[Finding]:
    supplies = [item for item in scan.objects if isinstance(item, StandardAdjustableSupply)]
    if rating.power_w > source_rules.STANDARD_ADJUSTABLE_ABOVE_W and not supplies:
        detail = (
            f"{capital(rating.words)} calls for an SPR adjustable supply by revision 3.2; "
            "none is offered, as in sources of earlier revisions."
        )
        yield found("avs-spr-missing", detail=detail)
    elif rating.power_w > source_rules.STANDARD_ADJUSTABLE_TO_20_V_ABOVE_W and not any(
        item.current_to_20_v_a for item in supplies
    ):
        detail = (
            f"{capital(rating.words)} calls for an SPR adjustable supply up to 20 V; "
            f"{listed(named(item) for item in supplies)} ends at 15 V."
        )
        yield found(
            "avs-spr-missing", detail=detail, positions=[item.position for item in supplies]
        )


def _rated(scan: _Scan, *, power_w: float, whose: str) -> Iterator[Finding]:
    over = [item for item in scan.objects if _exceeds(item, power_w=power_w)]
    if over:
        detail = (
            f"{capital(listed(named(item) for item in over))}: more than the {power_w:g} W that "
            f"the {whose} is rated for."
        )
        yield found(
            "rated-power-exceeded", detail=detail, positions=[item.position for item in over]
        )
    reached = any(
        item.voltage_v > 0
        and item.current_max_a >= share_of_power_a(power_w, voltage_v=item.voltage_v) - _HALF_STEP_A
        for item in scan.fixed
    )
    # Through a plain cable, or outside EPR mode, a source cannot show what it is rated for.
    unseen = power_w > source_rules.HIGHEST_SPR_POWER_W and not scan.extended
    plain = scan.best_at(source_rules.HIGHEST_SPR_VOLTAGE_V)
    if (
        reached
        or unseen
        or (plain is not None and plain.current_max_a == source_rules.PLAIN_CABLE_CURRENT_A)
    ):
        return
    yield from _not_reached(scan, power_w=power_w, whose=whose)


def _exceeds(item: DataObject, *, power_w: float) -> bool:
    """Whether a fixed or EPR adjustable supply offers more than the power [W], grid aside.

    Programmable supplies go by the voltage of their name, so that voltage times current of the
    top of their range is more than the rating by design.
    """
    if isinstance(item, FixedSupply):
        if not item.voltage_v:
            return False
        share = share_of_power_a(power_w, voltage_v=item.voltage_v)
        return item.current_max_a > share + _GRID_A + _HALF_STEP_A
    return isinstance(item, ExtendedAdjustableSupply) and item.power_max_w > power_w


def _not_reached(scan: _Scan, *, power_w: float, whose: str) -> Iterator[Finding]:
    best = max(scan.fixed, key=lambda item: item.power_max_w, default=None)
    offered = (
        "no fixed supply is offered"
        if best is None
        else f"the most powerful fixed supply is {named(best)}, {best.power_max_w:g} W"
    )
    wider = [
        item
        for item in scan.objects
        if not isinstance(item, FixedSupply) and (item.power_max_w or 0.0) >= power_w
    ]
    if wider:
        note = f"; only {listed(named(item) for item in wider)} reaches it"
    elif whose == "adapter":
        note = "; a port of several may be rated for less than the adapter"
    else:
        note = ""
    yield found(
        "rated-power-not-offered",
        detail=f"The {whose} is rated for {power_w:g} W; {offered}{note}.",
        positions=[item.position for item in (best, *wider) if item is not None],
        severity="note" if wider or whose == "adapter" else None,
    )
