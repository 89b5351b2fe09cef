"""Scans of invented ports that break no rule, for tests to depart from."""

from __future__ import annotations

from collections.abc import Sequence

from catalog.power_delivery.audit import audit
from catalog.power_delivery.augmented import (
    ExtendedAdjustableSupply,
    ProgrammableSupply,
    StandardAdjustableSupply,
)
from catalog.power_delivery.claims import Claim
from catalog.power_delivery.objects import DataObject, decode_all, encode
from catalog.power_delivery.rules import Finding
from catalog.power_delivery.supplies import FixedSupply


def fixed(voltage_v: float, current_max_a: float) -> FixedSupply:
    return FixedSupply(voltage_v=voltage_v, current_max_a=current_max_a)


def programmable(
    voltage_max_v: float, current_max_a: float, *, voltage_min_v: float = 3.3, limited: bool = True
) -> ProgrammableSupply:
    return ProgrammableSupply(
        voltage_min_v=voltage_min_v,
        voltage_max_v=voltage_max_v,
        current_max_a=current_max_a,
        power_limited=limited,
    )


def adjustable(current_to_15_v_a: float, current_to_20_v_a: float) -> StandardAdjustableSupply:
    return StandardAdjustableSupply(
        current_to_15_v_a=current_to_15_v_a, current_to_20_v_a=current_to_20_v_a
    )


def extended(voltage_max_v: float, power_max_w: float) -> ExtendedAdjustableSupply:
    return ExtendedAdjustableSupply(
        voltage_min_v=15.0, voltage_max_v=voltage_max_v, power_max_w=power_max_w
    )


def scan(*objects: DataObject) -> tuple[DataObject, ...]:
    """The objects as one message: positions counted from 1."""
    return decode_all([encode(item) for item in objects])


EPR_FIRST = FixedSupply(
    voltage_v=5.0,
    current_max_a=3.0,
    source_flags=frozenset({"unconstrained-power", "epr-mode-capable"}),
)

SCAN_20_W = scan(fixed(5, 3), fixed(9, 2.22))
SCAN_45_W = scan(fixed(5, 3), fixed(9, 3), fixed(15, 3), adjustable(3, 0))
SCAN_65_W = scan(
    fixed(5, 3),
    fixed(9, 3),
    fixed(15, 3),
    fixed(20, 3.25),
    adjustable(3, 3.25),
    programmable(11, 3),
    programmable(21, 3.25),
)
SCAN_140_W = decode_all(
    [
        *(
            encode(item)
            for item in (
                EPR_FIRST,
                fixed(9, 3),
                fixed(15, 3),
                fixed(20, 5),
                adjustable(5, 5),
                programmable(21, 5),
            )
        ),
        0x00000000,
        encode(fixed(28, 5)),
        encode(extended(28, 140)),
    ]
)


def findings(
    objects: Sequence[DataObject],
    *,
    rule: str,
    rated_power_w: float | None = None,
    port_rated_power_w: float | None = None,
    claims: Sequence[Claim] = (),
) -> list[Finding]:
    """The findings of one rule."""
    found = audit(
        objects,
        rated_power_w=rated_power_w,
        port_rated_power_w=port_rated_power_w,
        claims=claims,
    )
    return [item for item in found if item.rule == rule]
