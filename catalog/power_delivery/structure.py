"""Audit of a message as a whole: first object, order, count, placement, duplicates, raw bits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from catalog.power_delivery import source_rules
from catalog.power_delivery.augmented import Padding, ReservedObject, StandardAdjustableSupply
from catalog.power_delivery.base import Kind
from catalog.power_delivery.objects import DataObject
from catalog.power_delivery.rules import Finding, found
from catalog.power_delivery.supplies import FixedSupply
from catalog.power_delivery.wording import capital, listed, named

_KIND_ORDER: tuple[Kind, ...] = ("fixed", "battery", "variable", "avs-spr", "pps", "avs-epr")
_VSAFE_V = 5.0


def is_extended(data_object: DataObject) -> bool:
    """Whether an object belongs to the extended power range (EPR).

    Parameters
    ----------
    data_object : DataObject
        Any object. [V, A and W]

    Returns
    -------
    extended : bool
        True of an EPR adjustable supply and of a fixed one above 20 V. [-]
    """
    if isinstance(data_object, FixedSupply):
        return data_object.voltage_v > source_rules.HIGHEST_SPR_VOLTAGE_V
    return data_object.kind == "avs-epr"


def structure_findings(objects: Sequence[DataObject]) -> Iterator[Finding]:
    """What the rules of the message say, whatever the quantities are.

    Parameters
    ----------
    objects : sequence of DataObject
        The objects of one port by ascending position. [V, A and W]

    Yields
    ------
    finding : Finding
        One a place. [-]
    """
    capable = [item for item in objects if not isinstance(item, Padding)]
    if not capable:
        yield found("no-profile", detail="The list holds no object that offers anything.")
        return
    yield from _first_object(objects[0])
    known = [item for item in capable if not isinstance(item, ReservedObject)]
    standard = [item for item in known if not is_extended(item)]
    extended = [item for item in known if is_extended(item)]
    for part in (standard, extended):
        yield from _order(part)
    yield from _duplicates(known)
    yield from _counts(objects, standard=standard)
    yield from _placement(objects, standard=standard, extended=extended)
    yield from _raw_bits(objects)


def _first_object(first: DataObject) -> Iterator[Finding]:
    if isinstance(first, FixedSupply) and first.voltage_v == _VSAFE_V and first.position == 1:
        return
    detail = f"The first object must be the fixed 5 V supply; the list begins with {named(first)}."
    yield found("first-object-five-volts", detail=detail, positions=[first.position])


def _order(objects: Sequence[DataObject]) -> Iterator[Finding]:
    for before, after in pairwise(objects):
        if _KIND_ORDER.index(after.kind) < _KIND_ORDER.index(before.kind):
            detail = (
                f"{capital(named(after))} comes after {named(before)}; the order is fixed, "
                "battery, variable, adjustable, programmable."
            )
            yield found(
                "order-of-kinds", detail=detail, positions=[before.position, after.position]
            )
    for kind, rule, quantity in (
        ("fixed", "order-fixed-ascending", "voltage"),
        ("battery", "order-battery-ascending", "lowest voltage"),
        ("variable", "order-variable-ascending", "lowest voltage"),
        ("pps", "order-pps-ascending", "highest voltage"),
    ):
        same = [item for item in objects if item.kind == kind]
        for before, after in pairwise(same):
            if _sort_voltage(after) < _sort_voltage(before):
                detail = (
                    f"{capital(named(after))} comes after {named(before)}; objects of this kind "
                    f"are sent by ascending {quantity}."
                )
                yield found(rule, detail=detail, positions=[before.position, after.position])


def _sort_voltage(data_object: DataObject) -> float:
    """The voltage [V] by which objects of one kind are sent in order."""
    by_highest = data_object.kind == "pps"
    return (data_object.voltage_max_v if by_highest else data_object.voltage_min_v) or 0.0


def _duplicates(objects: Sequence[DataObject]) -> Iterator[Finding]:
    first_of: dict[tuple[object, ...], DataObject] = {}
    for item in objects:
        if isinstance(item, StandardAdjustableSupply):
            key: tuple[object, ...] = (item.kind,)
        else:
            # Programmable supplies may share a range when their currents differ.
            current = item.current_max_a if item.kind == "pps" else None
            key = (item.kind, item.voltage_min_v, item.voltage_max_v, current)
        earlier = first_of.setdefault(key, item)
        if earlier is not item:
            detail = f"{capital(named(item))} offers again what {named(earlier)} offers."
            yield found(
                "duplicate-object", detail=detail, positions=[earlier.position, item.position]
            )


def _counts(objects: Sequence[DataObject], *, standard: Sequence[DataObject]) -> Iterator[Finding]:
    if len(standard) > source_rules.LARGEST_SPR_COUNT:
        over = standard[source_rules.LARGEST_SPR_COUNT :]
        detail = (
            f"There are {len(standard)} SPR objects; a message holds "
            f"{source_rules.LARGEST_SPR_COUNT} at most."
        )
        yield found("spr-object-count", detail=detail, positions=[item.position for item in over])
    last = objects[-1].position
    if last > source_rules.LARGEST_EPR_COUNT:
        detail = (
            f"The last object has position {last}; an EPR message holds "
            f"{source_rules.LARGEST_EPR_COUNT} objects at most."
        )
        yield found("epr-object-count", detail=detail, positions=[last])


def _placement(
    objects: Sequence[DataObject],
    *,
    standard: Sequence[DataObject],
    extended: Sequence[DataObject],
) -> Iterator[Finding]:
    boundary = source_rules.FIRST_EPR_POSITION
    early = [item for item in extended if item.position < boundary]
    if early:
        detail = (
            f"{capital(listed(named(item) for item in early))}: EPR objects stand from position "
            f"{boundary}; a device answers one before it with a hard reset."
        )
        yield found("epr-placement", detail=detail, positions=[item.position for item in early])
    late = [item for item in standard if item.position >= boundary] if extended else []
    if late:
        detail = (
            f"{capital(listed(named(item) for item in late))}: positions from {boundary} are for "
            "EPR objects."
        )
        yield found("spr-placement", detail=detail, positions=[item.position for item in late])
    highest_used = max(
        (
            item.position
            for item in objects
            if item.position < boundary and not isinstance(item, Padding)
        ),
        default=0,
    )
    goes_on = objects[-1].position >= boundary
    stray = [
        item.position
        for item in objects
        if isinstance(item, Padding)
        and (not highest_used < item.position < boundary or not goes_on)
    ]
    if stray:
        places = listed(str(position) for position in stray)
        detail = (
            f"The zero word in position {places} is out of place; zero words only fill the rest "
            f"of positions 1 to {boundary - 1} where EPR objects follow."
        )
        yield found("padding-placement", detail=detail, positions=stray)


def _raw_bits(objects: Sequence[DataObject]) -> Iterator[Finding]:
    for item in objects:
        if isinstance(item, FixedSupply) and item.position > 1 and item.source_flags:
            detail = (
                f"{capital(named(item))} sets {listed(sorted(item.source_flags))}; these flags "
                "speak of the source and have a meaning in the first object only."
            )
            yield found("source-flags-outside-first", detail=detail, positions=[item.position])
        if item.reserved_bits:
            detail = (
                f"{capital(named(item))} sets reserved bits, 0x{item.reserved_bits:08X}; they "
                "are zero in the layouts known here."
            )
            yield found("reserved-bits-set", detail=detail, positions=[item.position])
        if isinstance(item, ReservedObject):
            detail = (
                f"Object {item.position} (0x{item.word:08X}) has a type without meaning in the "
                "layouts known here; it is kept as it came."
            )
            yield found("reserved-type", detail=detail, positions=[item.position])
