"""Audit of what the label claims against what the objects offer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from catalog.power_delivery.capability import highest_current_a
from catalog.power_delivery.objects import DataObject
from catalog.power_delivery.rules import Finding, found
from catalog.power_delivery.supplies import FixedSupply, VariableSupply
from catalog.power_delivery.wording import capital, named

# Half a step of the fields: labels print what was rounded to the step.
_VOLTAGE_HALF_STEP_V = 0.025
_FIXED_HALF_STEP_A = 0.005
_ADJUSTABLE_HALF_STEP_A = 0.025


@dataclass(frozen=True, slots=True)
class Claim:
    """What a label prints of one port: a voltage [V], or a range of them, at a current [A].

    `text` is the claim as printed. A claim made for another protocol than USB Power Delivery
    has no object and should not be passed here.
    """

    voltage_v: float
    current_a: float
    voltage_max_v: float | None = None
    text: str = ""

    @property
    def words(self) -> str:
        """The claim in figures, and as printed where that is known."""
        voltages = (
            f"{self.voltage_v:g} V"
            if self.voltage_max_v is None
            else f"{self.voltage_v:g} to {self.voltage_max_v:g} V"
        )
        printed = f" (“{self.text}”)" if self.text else ""
        return f"{voltages}, {self.current_a:g} A{printed}"


def claim_findings(objects: Sequence[DataObject], *, claims: Sequence[Claim]) -> Iterator[Finding]:
    """Claims that no object keeps, and offers that no claim mentions.

    Parameters
    ----------
    objects : sequence of DataObject
        The objects of one port. [V, A and W]
    claims : sequence of Claim
        What the label prints of that port; nothing is said when it is empty. [V and A]

    Yields
    ------
    finding : Finding
        One a claim or profile. [-]
    """
    single = [claim for claim in claims if claim.voltage_max_v is None]
    fixed = [item for item in objects if isinstance(item, FixedSupply)]
    for claim in claims:
        if claim.voltage_max_v is None:
            yield from _single_voltage(claim, objects=objects, fixed=fixed)
        else:
            yield from _range(claim, voltage_max_v=claim.voltage_max_v, objects=objects)
    if single:
        for item in fixed:
            yield from _beyond_claims(item, claims=single)


def _meets(claim: Claim, *, voltage_v: float) -> bool:
    return abs(claim.voltage_v - voltage_v) <= _VOLTAGE_HALF_STEP_V


def _single_voltage(
    claim: Claim, *, objects: Sequence[DataObject], fixed: Sequence[FixedSupply]
) -> Iterator[Finding]:
    if any(
        _meets(claim, voltage_v=item.voltage_v)
        and item.current_max_a >= claim.current_a - _FIXED_HALF_STEP_A
        for item in fixed
    ):
        return
    keeping = [
        item
        for item in objects
        if not isinstance(item, FixedSupply)
        and (item.current_at(claim.voltage_v) or 0.0) >= claim.current_a - _ADJUSTABLE_HALF_STEP_A
    ]
    if keeping:
        variable = isinstance(keeping[0], VariableSupply)
        detail = (
            f"The label claims {claim.words}; no fixed supply offers it, only "
            f"{named(keeping[0])}, "
            f"{'whose voltage is not regulated' if variable else 'which a device must ask for'}."
        )
        yield found("claim-only-adjustable", detail=detail, positions=[keeping[0].position])
        return
    near = [item for item in fixed if _meets(claim, voltage_v=item.voltage_v)]
    best = max(
        (item.current_max_a for item in near),
        default=highest_current_a(objects, voltage_v=claim.voltage_v),
    )
    offered = (
        "no object offers this voltage" if best is None else f"at most {best:g} A is offered there"
    )
    yield found(
        "claim-not-offered",
        detail=f"The label claims {claim.words}; {offered}.",
        positions=[item.position for item in near],
    )


def _range(
    claim: Claim, *, voltage_max_v: float, objects: Sequence[DataObject]
) -> Iterator[Finding]:
    covering = [
        item
        for item in objects
        if item.voltage_min_v is not None
        and item.voltage_max_v is not None
        and item.voltage_min_v <= claim.voltage_v + _VOLTAGE_HALF_STEP_V
        and item.voltage_max_v >= voltage_max_v - _VOLTAGE_HALF_STEP_V
    ]
    currents = {
        item.position: item.current_at(min(voltage_max_v, item.voltage_max_v or 0.0)) or 0.0
        for item in covering
    }
    if any(current >= claim.current_a - _ADJUSTABLE_HALF_STEP_A for current in currents.values()):
        return
    offered = (
        f"at most {max(currents.values()):g} A is offered over it"
        if currents
        else "no adjustable object covers this range"
    )
    yield found(
        "claim-not-offered",
        detail=f"The label claims {claim.words}; {offered}.",
        positions=currents,
    )


def _beyond_claims(item: FixedSupply, *, claims: Sequence[Claim]) -> Iterator[Finding]:
    claimed = max(
        (claim.current_a for claim in claims if _meets(claim, voltage_v=item.voltage_v)),
        default=None,
    )
    if claimed is None:
        detail = f"{capital(named(item))} is offered, but the label claims no such voltage."
        yield found("profile-not-claimed", detail=detail, positions=[item.position])
    elif item.current_max_a > claimed + _FIXED_HALF_STEP_A:
        detail = (
            f"{capital(named(item))} offers more than the {claimed:g} A that the label claims "
            f"at {item.voltage_v:g} V."
        )
        yield found("claim-exceeded", detail=detail, positions=[item.position])
