"""Audit of the quantities of single objects: what cannot be meant, and what needs a cable."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from catalog.power_delivery import source_rules
from catalog.power_delivery.augmented import (
    ExtendedAdjustableSupply,
    Padding,
    ProgrammableSupply,
    ReservedObject,
    StandardAdjustableSupply,
)
from catalog.power_delivery.base import CABLE_CURRENT_A
from catalog.power_delivery.objects import DataObject
from catalog.power_delivery.rules import Finding, found
from catalog.power_delivery.structure import is_extended
from catalog.power_delivery.supplies import FixedSupply
from catalog.power_delivery.wording import capital, listed, named

_HIGHEST_VOLTAGE_V = source_rules.USUAL_FIXED_VOLTAGES_V[-1]


def plausibility_findings(objects: Sequence[DataObject]) -> Iterator[Finding]:
    """What the quantities of each object, taken alone, give reason to say.

    Parameters
    ----------
    objects : sequence of DataObject
        The objects of one port. [V, A and W]

    Yields
    ------
    finding : Finding
        One a place. [-]
    """
    known = [item for item in objects if not isinstance(item, Padding | ReservedObject)]
    for item in known:
        yield from _impossible(item)
        yield from _unusual(item)
    yield from _cables(known)


def _impossible(item: DataObject) -> Iterator[Finding]:
    place = [item.position]
    if not item.voltage_max_v or not item.power_max_w:
        detail = f"{capital(named(item))} offers no power; a source leaves such an object out."
        yield found("nothing-offered", detail=detail, positions=place)
    elif isinstance(item, StandardAdjustableSupply) and not item.current_to_15_v_a:
        detail = f"{capital(named(item))} offers nothing from 9 to 15 V, where its range begins."
        yield found("nothing-offered", detail=detail, positions=place)
    lowest, highest = item.voltage_min_v or 0.0, item.voltage_max_v or 0.0
    if lowest > highest:
        detail = (
            f"{capital(named(item))}: the lowest voltage, {lowest:g} V, is above the highest, "
            f"{highest:g} V."
        )
        yield found("range-reversed", detail=detail, positions=place)
    if item.current_max_a is not None and item.current_max_a > CABLE_CURRENT_A:
        detail = (
            f"{capital(named(item))}: no USB-C cable is marked for more than {CABLE_CURRENT_A:g} A."
        )
        yield found("current-above-cable", detail=detail, positions=place)
    if max(lowest, highest) > _HIGHEST_VOLTAGE_V:
        detail = f"{capital(named(item))}: no row of the rules goes above {_HIGHEST_VOLTAGE_V:g} V."
        yield found("voltage-above-range", detail=detail, positions=place)


def _unusual(item: DataObject) -> Iterator[Finding]:
    place = [item.position]
    if isinstance(item, FixedSupply):
        if item.voltage_v == source_rules.OPTIONAL_FIXED_VOLTAGE_V:
            detail = f"{capital(named(item))}: 12 V is optional, no rated power calls for it."
            yield found("twelve-volts-optional", detail=detail, positions=place)
        elif (
            0 < item.voltage_v <= _HIGHEST_VOLTAGE_V
            and item.voltage_v not in source_rules.USUAL_FIXED_VOLTAGES_V
        ):
            detail = f"{capital(named(item))}: no row of the rules names this voltage."
            yield found("voltage-unusual", detail=detail, positions=place)
    elif isinstance(item, ProgrammableSupply):
        ranges = source_rules.PROGRAMMABLE_RANGES
        lowest = min(known.voltage_min_v for known in ranges)
        ends = [known.voltage_max_v for known in ranges]
        if item.voltage_max_v not in ends or item.voltage_min_v < lowest:
            detail = (
                f"{capital(named(item))}: the named ranges begin at {lowest:g} V or above and "
                f"end at {listed(f'{end:g}' for end in ends)} V."
            )
            yield found("pps-range-unnamed", detail=detail, positions=place)
    elif isinstance(item, ExtendedAdjustableSupply):
        pairs = [
            (known.voltage_min_v, known.voltage_max_v)
            for known in source_rules.EXTENDED_ADJUSTABLE_RANGES
        ]
        if (item.voltage_min_v, item.voltage_max_v) not in pairs:
            names = listed(f"{lowest:g} to {highest:g}" for lowest, highest in pairs)
            detail = f"{capital(named(item))}: the ranges known here are {names} V."
            yield found("avs-range-unnamed", detail=detail, positions=place)


def _cables(objects: Sequence[DataObject]) -> Iterator[Finding]:
    strong = [
        item
        for item in objects
        if item.current_max_a is not None
        and source_rules.PLAIN_CABLE_CURRENT_A < item.current_max_a <= CABLE_CURRENT_A
    ]
    if strong:
        detail = (
            f"{capital(listed(named(item) for item in strong))}: more than "
            f"{source_rules.PLAIN_CABLE_CURRENT_A:g} A needs a cable marked for "
            f"{CABLE_CURRENT_A:g} A."
        )
        yield found(
            "cable-for-five-amperes", detail=detail, positions=[item.position for item in strong]
        )
    extended = [item for item in objects if is_extended(item)]
    if extended:
        detail = (
            f"{capital(listed(named(item) for item in extended))}: the extended power range "
            "needs an EPR cable."
        )
        yield found("cable-for-epr", detail=detail, positions=[item.position for item in extended])
