"""For every rule of the audit: scans that break it, and the nearest ones that do not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from catalog.power_delivery.augmented import ExtendedAdjustableSupply
from catalog.power_delivery.claims import Claim
from catalog.power_delivery.objects import DataObject, decode_all, encode
from catalog.power_delivery.rules import Severity
from catalog.power_delivery.supplies import BatterySupply, VariableSupply
from tests.catalog.power_delivery.scans import (
    EPR_FIRST,
    SCAN_20_W,
    SCAN_45_W,
    SCAN_65_W,
    SCAN_140_W,
    adjustable,
    extended,
    fixed,
    programmable,
    scan,
)


@dataclass(frozen=True)
class Case:
    """A scan with its ratings [W] and claims; `positions` is None where the rule is kept."""

    rule: str
    objects: Sequence[DataObject]
    positions: tuple[int, ...] | None = None
    severity: Severity | None = None
    rated_power_w: float | None = None
    port_rated_power_w: float | None = None
    claims: tuple[Claim, ...] = ()
    words: tuple[str, ...] = ()


def battery(voltage_min_v: float, voltage_max_v: float, power_max_w: float) -> BatterySupply:
    return BatterySupply(
        voltage_min_v=voltage_min_v, voltage_max_v=voltage_max_v, power_max_w=power_max_w
    )


def variable(voltage_min_v: float, voltage_max_v: float, current_max_a: float) -> VariableSupply:
    return VariableSupply(
        voltage_min_v=voltage_min_v, voltage_max_v=voltage_max_v, current_max_a=current_max_a
    )


def padded(*objects: DataObject, extended_objects: Sequence[DataObject]) -> tuple[DataObject, ...]:
    """An EPR message: zero words up to position 7, then the EPR objects."""
    words = [encode(item) for item in objects]
    words += [0] * (7 - len(words))
    return decode_all([*words, *(encode(item) for item in extended_objects)])


FIVE, NINE = fixed(5, 3), fixed(9, 3)
WITHOUT_EPR_FLAG = decode_all([0x0801912C, *(encode(item) for item in SCAN_140_W[1:])])
EIGHT = tuple(fixed(5 + step, 3) for step in range(8))

BROKEN = (
    Case("no-profile", (), (), "error"),
    Case("no-profile", decode_all([0, 0]), (), "error"),
    Case("first-object-five-volts", scan(NINE), (1,), "error", words=("9 V",)),
    Case("first-object-five-volts", scan(variable(4.75, 5.25, 3)), (1,), "error"),
    Case("first-object-five-volts", decode_all([0, 0x0001912C]), (1,), "error"),
    Case("order-of-kinds", scan(FIVE, programmable(11, 3), adjustable(3, 0)), (2, 3), "error"),
    Case(
        "order-of-kinds",
        padded(EPR_FIRST, extended_objects=[extended(28, 140), fixed(28, 5)]),
        (8, 9),
        "error",
    ),
    Case(
        "order-fixed-ascending",
        scan(FIVE, fixed(15, 3), NINE),
        (2, 3),
        "error",
        words=("Object 3 (fixed, 9 V, 3 A)", "object 2 (fixed, 15 V, 3 A)"),
    ),
    Case(
        "order-fixed-ascending",
        padded(EPR_FIRST, extended_objects=[fixed(36, 5), fixed(28, 5)]),
        (8, 9),
        "error",
    ),
    Case(
        "order-battery-ascending",
        scan(FIVE, battery(9, 12, 20), battery(5, 21, 20)),
        (2, 3),
        "error",
    ),
    Case(
        "order-variable-ascending",
        scan(FIVE, variable(9, 12, 2), variable(5, 21, 2)),
        (2, 3),
        "error",
    ),
    Case(
        "order-pps-ascending", scan(FIVE, programmable(21, 3), programmable(11, 3)), (2, 3), "error"
    ),
    Case("duplicate-object", scan(FIVE, NINE, fixed(9, 2)), (2, 3), "error"),
    Case("duplicate-object", scan(FIVE, adjustable(3, 0), adjustable(2, 2)), (2, 3), "error"),
    Case("spr-object-count", scan(*EIGHT), (8,), "error", words=("8 SPR objects", "7 at most")),
    Case(
        "epr-object-count",
        padded(EPR_FIRST, extended_objects=[extended(28, 100 + step) for step in range(5)]),
        (12,),
        "warning",
    ),
    Case("epr-placement", scan(EPR_FIRST, fixed(28, 5), extended(28, 140)), (2, 3), "warning"),
    Case(
        "spr-placement", padded(EPR_FIRST, extended_objects=[NINE, fixed(28, 5)]), (8,), "warning"
    ),
    Case("padding-placement", decode_all([0x0001912C, 0, 0x0002D12C]), (2,), "warning"),
    Case("padding-placement", decode_all([0x0001912C, 0]), (2,), "warning"),
    Case(
        "padding-placement",
        decode_all([*(encode(item) for item in SCAN_140_W[:7]), 0, 0x0008C1F4]),
        (8,),
        "warning",
    ),
    Case(
        "source-flags-outside-first",
        decode_all([0x0801912C, 0x0802D12C]),
        (2,),
        "warning",
        words=("unconstrained-power",),
    ),
    Case("reserved-bits-set", decode_all([0x0041912C]), (1,), "warning", words=("0x00400000",)),
    Case(
        "reserved-type", decode_all([0x0001912C, 0xF0000001]), (2,), "note", words=("0xF0000001",)
    ),
    Case("nothing-offered", scan(FIVE, fixed(9, 0)), (2,), "warning"),
    Case("nothing-offered", scan(FIVE, fixed(0, 3)), (2,), "warning"),
    Case("nothing-offered", scan(FIVE, battery(5, 20, 0)), (2,), "warning"),
    Case("nothing-offered", scan(FIVE, adjustable(0, 0)), (2,), "warning"),
    Case("nothing-offered", scan(FIVE, adjustable(0, 3)), (2,), "warning", words=("9 to 15 V",)),
    Case("range-reversed", scan(FIVE, variable(20, 5, 2)), (2,), "error", words=("20 V", "5 V")),
    Case("current-above-cable", scan(FIVE, fixed(20, 5.01)), (2,), "warning"),
    Case("current-above-cable", decode_all([0x0001912C, 0x000FFFFF]), (2,), "warning"),
    Case("voltage-above-range", decode_all([0x0001912C, 0x000FFFFF]), (2,), "warning"),
    Case("voltage-above-range", scan(FIVE, battery(5, 48.05, 50)), (2,), "warning"),
    Case("voltage-unusual", scan(FIVE, fixed(10, 2)), (2,), "note"),
    Case("twelve-volts-optional", scan(FIVE, fixed(12, 1.67)), (2,), "note"),
    Case("cable-for-five-amperes", SCAN_65_W, (4, 5, 7), "note"),
    Case("cable-for-epr", SCAN_140_W, (8, 9), "note"),
    Case("pps-range-unnamed", scan(FIVE, programmable(12, 3)), (2,), "note"),
    Case("pps-range-unnamed", scan(FIVE, programmable(11, 3, voltage_min_v=3.0)), (2,), "note"),
    Case(
        "avs-range-unnamed",
        padded(
            EPR_FIRST,
            extended_objects=[
                ExtendedAdjustableSupply(voltage_min_v=9, voltage_max_v=28, power_max_w=140)
            ],
        ),
        (8,),
        "note",
    ),
    Case("avs-spr-missing", scan(FIVE, NINE, fixed(15, 2)), (), "note", port_rated_power_w=30),
    Case(
        "avs-spr-missing",
        scan(FIVE, NINE, fixed(15, 3), fixed(20, 3), adjustable(3, 0)),
        (5,),
        "note",
    ),
    Case("avs-epr-missing", SCAN_140_W[:8], (8,), "warning"),
    Case("epr-flag-missing", WITHOUT_EPR_FLAG, (1,), "warning"),
    Case("epr-flag-missing", SCAN_65_W, (1,), "warning", port_rated_power_w=140),
    Case("epr-not-scanned", SCAN_140_W[:6], (), "note"),
    Case("epr-not-scanned", SCAN_65_W, (), "note", port_rated_power_w=140),
    Case(
        "required-voltage-missing",
        scan(FIVE, fixed(15, 3)),
        (),
        "error",
        port_rated_power_w=45,
        words=("rating of 45 W", "9 V, 3 A"),
    ),
    Case(
        "required-voltage-missing",
        scan(FIVE, NINE, fixed(12, 2.5)),
        (),
        "warning",
        words=("30 W", "15 V"),
    ),
    Case(
        "required-voltage-missing",
        padded(
            EPR_FIRST,
            NINE,
            fixed(15, 3),
            fixed(20, 5),
            adjustable(5, 5),
            extended_objects=[extended(28, 140)],
        ),
        (),
        "warning",  # rows above 100 W are from memory
        port_rated_power_w=140,
        words=("28 V",),
    ),
    Case(
        "required-current-low",
        scan(FIVE, fixed(9, 2.21)),
        (2,),
        "error",
        port_rated_power_w=20,
        words=("9 V, 2.22 A", "object 2 (fixed, 9 V, 2.21 A)"),
    ),
    Case("required-current-low", scan(fixed(5, 2), NINE), (1,), "warning"),
    Case(
        "cable-limited-scan",
        scan(FIVE, NINE, fixed(15, 3), fixed(20, 3), adjustable(3, 3)),
        (4,),
        "note",
        port_rated_power_w=65,
    ),
    Case("rating-outside-rules", SCAN_20_W, (), "note", port_rated_power_w=300),
    Case("rating-outside-rules", SCAN_20_W, (), "note", port_rated_power_w=0.4),
    Case(
        "rated-power-not-offered",
        SCAN_20_W,
        (2,),
        "warning",
        port_rated_power_w=27,
        words=("rated for 27 W", "19.98 W"),
    ),
    Case("rated-power-not-offered", SCAN_20_W, (2,), "note", rated_power_w=65),
    Case(
        "rated-power-not-offered",
        scan(FIVE, NINE, programmable(11, 3, limited=False)),
        (2, 3),
        "note",
        port_rated_power_w=33,
        words=("only object 3",),
    ),
    Case(
        "rated-power-not-offered", scan(programmable(11, 3)), (), "warning", port_rated_power_w=40
    ),
    Case("rated-power-exceeded", scan(FIVE, NINE), (2,), "warning", port_rated_power_w=20),
    Case("rated-power-exceeded", SCAN_65_W, (4,), "warning", rated_power_w=45),
    Case("rated-power-exceeded", SCAN_140_W, (8, 9), "warning", port_rated_power_w=120),
    Case(
        "claim-not-offered",
        SCAN_20_W,
        (2,),
        "warning",
        claims=(Claim(9, 3, text="9V⎓3A"),),
        words=("9 V, 3 A (“9V⎓3A”)", "at most 2.22 A"),
    ),
    Case(
        "claim-not-offered",
        SCAN_20_W,
        (),
        "warning",
        claims=(Claim(12, 1.67),),
        words=("no object offers",),
    ),
    Case(
        "claim-not-offered",
        SCAN_65_W,
        (6, 7),
        "warning",
        claims=(Claim(3.3, 5, 11),),
        words=("3.3 to 11 V", "at most 3.25 A"),
    ),
    Case(
        "claim-not-offered",
        SCAN_20_W,
        (),
        "warning",
        claims=(Claim(3.3, 3, 11),),
        words=("no adjustable object",),
    ),
    Case("claim-only-adjustable", SCAN_65_W, (5,), "note", claims=(Claim(10, 3),)),
    Case(
        "claim-only-adjustable",
        scan(FIVE, variable(9, 12, 2)),
        (2,),
        "note",
        claims=(Claim(10, 2),),
        words=("not regulated",),
    ),
    Case(
        "claim-exceeded",
        SCAN_20_W,
        (2,),
        "note",
        claims=(Claim(5, 3), Claim(9, 2)),
        words=("2 A that the label claims",),
    ),
    Case("profile-not-claimed", SCAN_20_W, (2,), "note", claims=(Claim(5, 3),)),
)

KEPT = (
    Case("no-profile", scan(FIVE)),
    Case("first-object-five-volts", scan(fixed(5, 0.5))),
    Case("first-object-five-volts", SCAN_140_W),
    Case("order-of-kinds", SCAN_65_W),
    Case("order-of-kinds", SCAN_140_W),  # fixed 28 V after a programmable supply, in its own part
    Case("order-fixed-ascending", SCAN_140_W),
    Case("order-battery-ascending", scan(FIVE, battery(5, 21, 20), battery(9, 12, 20))),
    Case("order-variable-ascending", scan(FIVE, variable(5, 21, 2), variable(9, 12, 2))),
    Case("order-pps-ascending", SCAN_65_W),
    Case("duplicate-object", scan(FIVE, programmable(11, 3), programmable(11, 2))),
    Case("duplicate-object", scan(FIVE, battery(5, 12, 20), variable(5, 12, 2))),
    Case("spr-object-count", scan(*EIGHT[:7])),
    Case("spr-object-count", SCAN_140_W),
    Case(
        "epr-object-count",
        padded(EPR_FIRST, extended_objects=[extended(28, 100 + step) for step in range(4)]),
    ),
    Case("epr-placement", SCAN_140_W),
    Case("epr-placement", SCAN_65_W),  # 20 V is the highest SPR voltage
    Case("spr-placement", SCAN_140_W),
    Case("padding-placement", SCAN_140_W),
    Case("source-flags-outside-first", SCAN_140_W),
    Case("reserved-bits-set", SCAN_140_W),
    Case("reserved-type", SCAN_140_W),
    Case("nothing-offered", SCAN_140_W),  # padding is not an offer of nothing
    Case("nothing-offered", SCAN_45_W),  # no second range is no fault
    Case("range-reversed", scan(FIVE, variable(5, 5, 2))),
    Case("current-above-cable", SCAN_140_W),
    Case("voltage-above-range", padded(EPR_FIRST, extended_objects=[fixed(48, 5)])),
    Case("voltage-unusual", SCAN_140_W),
    Case("voltage-unusual", scan(FIVE, fixed(12, 1.67))),
    Case("twelve-volts-optional", SCAN_65_W),
    Case("cable-for-five-amperes", SCAN_45_W),
    Case("cable-for-five-amperes", scan(FIVE, fixed(20, 5.01))),
    Case("cable-for-epr", SCAN_65_W),
    Case("pps-range-unnamed", SCAN_65_W),
    Case("pps-range-unnamed", scan(FIVE, programmable(21, 3, voltage_min_v=5.0))),
    Case("avs-range-unnamed", SCAN_140_W),
    Case("avs-spr-missing", scan(FIVE, NINE)),  # 27 W is not above 27 W
    Case("avs-spr-missing", SCAN_45_W),
    Case("avs-spr-missing", SCAN_65_W),
    Case("avs-epr-missing", SCAN_140_W),
    Case("avs-epr-missing", SCAN_65_W),
    Case("epr-flag-missing", SCAN_140_W),
    Case("epr-flag-missing", SCAN_65_W, port_rated_power_w=65),
    Case("epr-not-scanned", SCAN_140_W),
    Case("epr-not-scanned", SCAN_65_W, port_rated_power_w=65),
    Case("required-voltage-missing", SCAN_65_W, port_rated_power_w=65),
    Case("required-voltage-missing", SCAN_140_W, port_rated_power_w=140),
    Case("required-voltage-missing", SCAN_140_W[:6], port_rated_power_w=140),
    Case("required-current-low", SCAN_20_W, port_rated_power_w=20),
    Case("required-current-low", SCAN_45_W, port_rated_power_w=45),
    Case("cable-limited-scan", SCAN_65_W, port_rated_power_w=65),
    Case(
        "cable-limited-scan", scan(FIVE, NINE, fixed(15, 3), fixed(20, 2.99)), port_rated_power_w=65
    ),
    Case("rating-outside-rules", SCAN_140_W, port_rated_power_w=240),
    Case("rating-outside-rules", scan(programmable(11, 3))),
    Case("rated-power-not-offered", SCAN_20_W, port_rated_power_w=20),
    Case("rated-power-not-offered", SCAN_140_W, port_rated_power_w=140),
    Case("rated-power-not-offered", SCAN_140_W[:6], port_rated_power_w=140),
    Case(
        "rated-power-not-offered",
        scan(FIVE, NINE, fixed(15, 3), fixed(20, 3)),
        port_rated_power_w=65,
    ),
    Case("rated-power-exceeded", scan(FIVE, fixed(9, 2.23)), port_rated_power_w=20),
    Case("rated-power-exceeded", SCAN_65_W, port_rated_power_w=65),
    Case("rated-power-exceeded", SCAN_20_W, rated_power_w=65),
    Case("claim-not-offered", SCAN_20_W, claims=(Claim(5, 3), Claim(9, 2.22))),
    Case("claim-not-offered", SCAN_20_W, claims=(Claim(9, 2.224),)),
    Case("claim-not-offered", SCAN_65_W, claims=(Claim(3.3, 3.25, 21), Claim(5, 3, 11))),
    Case("claim-only-adjustable", SCAN_65_W, claims=(Claim(9, 3),)),
    Case("claim-exceeded", SCAN_20_W, claims=(Claim(9, 2.22), Claim(9, 1))),
    Case("profile-not-claimed", SCAN_20_W),
    Case("profile-not-claimed", SCAN_20_W, claims=(Claim(3.3, 3, 11),)),
    Case("profile-not-claimed", SCAN_20_W, claims=(Claim(5, 3), Claim(9, 2.22))),
)
