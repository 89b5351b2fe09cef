"""Linux kernel, include/linux/usb/pd.h (torvalds/linux, commit 8744b49e5755): field layout.

Shifts, masks and steps of fixed, battery, variable and programmable objects as that header gives
them; those of the adjustable supplies from the kernel patch that parses and logs AVS objects
(version 2, 2025-10-15). Both were read. Bit 23 (EPR mode) is not in the header and comes from the
Fuchsia header of message objects after revision 3.1. The table is data of this test, apart from
the layout that the package uses.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.power_delivery.augmented import (
    ExtendedAdjustableSupply,
    ProgrammableSupply,
    StandardAdjustableSupply,
)
from catalog.power_delivery.objects import decode
from catalog.power_delivery.supplies import FixedSupply


@dataclass(frozen=True)
class KernelField:
    """`(word >> shift) & mask`, times `step`, is `quantity` in thousandths."""

    kind: str
    quantity: str
    shift: int
    mask: int
    step: int


KERNEL_FIELDS = (
    KernelField("fixed", "voltage_min_v", 10, 0x3FF, 50),
    KernelField("fixed", "voltage_max_v", 10, 0x3FF, 50),
    KernelField("fixed", "current_max_a", 0, 0x3FF, 10),
    KernelField("battery", "voltage_max_v", 20, 0x3FF, 50),
    KernelField("battery", "voltage_min_v", 10, 0x3FF, 50),
    KernelField("battery", "power_max_w", 0, 0x3FF, 250),
    KernelField("variable", "voltage_max_v", 20, 0x3FF, 50),
    KernelField("variable", "voltage_min_v", 10, 0x3FF, 50),
    KernelField("variable", "current_max_a", 0, 0x3FF, 10),
    KernelField("pps", "voltage_max_v", 17, 0xFF, 100),
    KernelField("pps", "voltage_min_v", 8, 0xFF, 100),
    KernelField("pps", "current_max_a", 0, 0x7F, 50),
    # From the patch: bits 25..17, 15..8 and 7..0.
    KernelField("avs-epr", "voltage_max_v", 17, 0x1FF, 100),
    KernelField("avs-epr", "voltage_min_v", 8, 0xFF, 100),
    KernelField("avs-epr", "power_max_w", 0, 0xFF, 1000),
    # From the patch: bits 19..10 and 9..0.
    KernelField("avs-spr", "current_to_15_v_a", 10, 0x3FF, 10),
    KernelField("avs-spr", "current_to_20_v_a", 0, 0x3FF, 10),
)

# PDO_TYPE_SHIFT 30, PDO_APDO_TYPE_SHIFT 28, both masks 0x3.
TYPE_BITS = {
    "fixed": 0 << 30,
    "battery": 1 << 30,
    "variable": 2 << 30,
    "pps": 3 << 30 | 0 << 28,
    "avs-epr": 3 << 30 | 1 << 28,
    "avs-spr": 3 << 30 | 2 << 28,
    "reserved": 3 << 30 | 3 << 28,
}
FREE_BITS = {kind: 30 if bits >> 30 < 3 else 28 for kind, bits in TYPE_BITS.items()}
FLAG_BITS = {
    "dual-role-power": 29,  # PDO_FIXED_DUAL_ROLE
    "usb-suspend-supported": 28,  # PDO_FIXED_SUSPEND
    "unconstrained-power": 27,  # PDO_FIXED_EXTPOWER
    "usb-communications": 26,  # PDO_FIXED_USB_COMM
    "dual-role-data": 25,  # PDO_FIXED_DATA_SWAP
    "unchunked-extended-messages": 24,  # PDO_FIXED_UNCHUNK_EXT
    "epr-mode-capable": 23,  # after revision 3.1, not in the kernel header
}


@given(payload=st.integers(1, 2**30 - 1))
@pytest.mark.parametrize("kind", TYPE_BITS)
def test_the_type_bits_decide_the_kind(kind: str, payload: int) -> None:
    word = TYPE_BITS[kind] | payload & ((1 << FREE_BITS[kind]) - 1)
    assert decode(word or 1, position=1).kind == kind


@given(payload=st.integers(1, 2**30 - 1))
@pytest.mark.parametrize("field", KERNEL_FIELDS, ids=lambda field: f"{field.kind} {field.quantity}")
def test_every_field_reads_what_the_kernel_reads(field: KernelField, payload: int) -> None:
    word = TYPE_BITS[field.kind] | payload & ((1 << FREE_BITS[field.kind]) - 1) or 1
    decoded = decode(word, position=2)
    expected = ((word >> field.shift) & field.mask) * field.step
    assert getattr(decoded, field.quantity) == expected / 1000


@pytest.mark.parametrize(("name", "bit"), FLAG_BITS.items())
def test_a_flag_of_the_first_object_is_one_bit(name: str, bit: int) -> None:
    plain = 0x0001912C
    decoded = decode(plain | 1 << bit, position=1)
    assert decoded.flags == (name,)
    assert decode(plain, position=1).flags == ()


@pytest.mark.parametrize(("code", "percent"), [(0, None), (1, 110), (2, 125), (3, 150)])
def test_peak_current_lies_from_bit_20_and_means_a_share(code: int, percent: int | None) -> None:
    # PDO_FIXED_PEAK_CURR_SHIFT 20; the meaning of the codes is in the Fuchsia header.
    expected = () if percent is None else (f"peak-current-{percent}-percent",)
    assert decode(0x000641F4 | code << 20, position=4).flags == expected


@pytest.mark.parametrize("code", range(4))
@pytest.mark.parametrize("kind", ["avs-epr", "avs-spr"])
def test_peak_current_of_an_adjustable_supply_lies_from_bit_26(kind: str, code: int) -> None:
    decoded = decode(TYPE_BITS[kind] | code << 26, position=8)
    assert isinstance(decoded, ExtendedAdjustableSupply | StandardAdjustableSupply)
    assert decoded.peak_current == code


@given(voltage_count=st.integers(0, 1023), current_count=st.integers(0, 1023))
def test_a_fixed_supply_is_written_as_the_kernel_writes_it(
    voltage_count: int, current_count: int
) -> None:
    # PDO_FIXED(mv, ma, flags): type, (mv / 50) << 10, (ma / 10) << 0.
    built = FixedSupply(
        voltage_v=voltage_count * 50 / 1000, current_max_a=current_count * 10 / 1000
    )
    assert built.word == voltage_count << 10 | current_count


@given(lowest=st.integers(0, 255), highest=st.integers(0, 255), current=st.integers(0, 127))
def test_a_programmable_supply_is_written_as_the_kernel_writes_it(
    lowest: int, highest: int, current: int
) -> None:
    # PDO_PPS_APDO(min_mv, max_mv, max_ma): types, (max / 100) << 17, (min / 100) << 8, ma / 50.
    built = ProgrammableSupply(
        voltage_min_v=lowest / 10, voltage_max_v=highest / 10, current_max_a=current * 50 / 1000
    )
    assert built.word == 3 << 30 | highest << 17 | lowest << 8 | current
