"""USB Power Delivery, source power data objects: words worked by hand from the published layout.

Layout as in the Linux kernel header include/linux/usb/pd.h and the kernel patch for adjustable
supplies (both read), flags and peak current as in the Fuchsia header of message objects (read).
That the all-zero word is padding, and that type 3 of the augmented ones is reserved, is from
memory of the specification, which was not read.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from catalog.power_delivery.augmented import StandardAdjustableSupply
from catalog.power_delivery.objects import decode, encode
from catalog.power_delivery.supplies import FixedSupply


@dataclass(frozen=True)
class Vector:
    """A word and what it says: voltages [V], current [A], power [W], flags in position 1."""

    word: int
    kind: str
    voltages_v: tuple[float | None, float | None]
    current_a: float | None
    power_w: float | None
    flags: tuple[str, ...] = ()


ALL_FLAGS = (
    "dual-role-power",
    "usb-suspend-supported",
    "unconstrained-power",
    "usb-communications",
    "dual-role-data",
    "unchunked-extended-messages",
    "epr-mode-capable",
)
LIMITED = ("power-limited",)
VECTORS = (
    Vector(0x0001912C, "fixed", (5, 5), 3, 15),
    Vector(0x0801912C, "fixed", (5, 5), 3, 15, ("unconstrained-power",)),
    Vector(
        0x0E01912C,
        "fixed",
        (5, 5),
        3,
        15,
        ("unconstrained-power", "usb-communications", "dual-role-data"),
    ),
    Vector(0x0881912C, "fixed", (5, 5), 3, 15, ("unconstrained-power", "epr-mode-capable")),
    Vector(0x3FB1912C, "fixed", (5, 5), 3, 15, (*ALL_FLAGS, "peak-current-150-percent")),
    Vector(0x0002D12C, "fixed", (9, 9), 3, 27),
    Vector(0x0002D0DE, "fixed", (9, 9), 2.22, 19.98),
    Vector(0x0003C0A7, "fixed", (12, 12), 1.67, 20.04),
    Vector(0x0004B12C, "fixed", (15, 15), 3, 45),
    Vector(0x000640E1, "fixed", (20, 20), 2.25, 45),
    Vector(0x00064145, "fixed", (20, 20), 3.25, 65),
    Vector(0x000641F4, "fixed", (20, 20), 5, 100),
    Vector(0x002641F4, "fixed", (20, 20), 5, 100, ("peak-current-125-percent",)),
    Vector(0x0008C1F4, "fixed", (28, 28), 5, 140),
    Vector(0x000B41F4, "fixed", (36, 36), 5, 180),
    Vector(0x000F01F4, "fixed", (48, 48), 5, 240),
    Vector(0x000FFFFF, "fixed", (51.15, 51.15), 10.23, 523.2645),
    Vector(0x5A4108B4, "battery", (3.3, 21), None, 45),
    Vector(0x86917D2C, "variable", (4.75, 5.25), 3, 15.75),
    Vector(0x9A4108C8, "variable", (3.3, 21), 2, 42),
    Vector(0xC076213C, "pps", (3.3, 5.9), 3, 17.7),
    Vector(0xC0DC213C, "pps", (3.3, 11), 3, 33),
    Vector(0xC940213C, "pps", (3.3, 16), 3, 48, LIMITED),
    Vector(0xC1A42164, "pps", (3.3, 21), 5, 105),
    Vector(0xC9A42141, "pps", (3.3, 21), 3.25, 68.25, LIMITED),
    Vector(0xC0DC3228, "pps", (5, 11), 2, 22),
    Vector(0xD230968C, "avs-epr", (15, 28), None, 140),
    Vector(0xD2D096B4, "avs-epr", (15, 36), None, 180),
    Vector(0xD3C096F0, "avs-epr", (15, 48), None, 240),
    Vector(0xD7C096F0, "avs-epr", (15, 48), None, 240, ("peak-current-110-percent",)),
    Vector(0xE004B000, "avs-spr", (9, 15), 3, 45),
    Vector(0xE004B0E1, "avs-spr", (9, 20), 3, 45),
    Vector(0xE004B1F4, "avs-spr", (9, 20), 5, 100),
    Vector(0x00000000, "padding", (None, None), None, None),
    Vector(0xF0000000, "reserved", (None, None), None, None),
)
EVERY_VECTOR = pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: f"0x{vector.word:08X}")


@EVERY_VECTOR
def test_a_word_says_what_the_layout_makes_of_it(vector: Vector) -> None:
    lowest, highest = vector.voltages_v
    # Equality, not approximation: a decoded value is the float nearest to its decimal.
    assert decode(vector.word, position=1).as_json() == {
        "position": 1,
        "kind": vector.kind,
        "voltage_min_v": lowest,
        "voltage_max_v": highest,
        "current_max_a": vector.current_a,
        "power_max_w": vector.power_w,
        "flags": list(vector.flags),
        "word": f"0x{vector.word:08X}",
    }


@EVERY_VECTOR
def test_a_decoded_word_is_written_back_as_it_came(vector: Vector) -> None:
    assert encode(decode(vector.word, position=1)) == vector.word


@pytest.mark.parametrize(
    ("word", "to_15_v", "to_20_v"),
    [(0xE004B000, 3.0, 0.0), (0xE004B0E1, 3.0, 2.25), (0xE004B1F4, 3.0, 5.0)],
)
def test_an_spr_adjustable_supply_keeps_both_currents(
    word: int, to_15_v: float, to_20_v: float
) -> None:
    decoded = decode(word, position=5)
    assert isinstance(decoded, StandardAdjustableSupply)
    assert decoded.current_to_15_v_a == to_15_v
    assert decoded.current_to_20_v_a == to_20_v


def test_the_word_with_all_flags_leaves_the_reserved_bit_clear() -> None:
    decoded = decode(0x3FB1912C, position=1)
    assert isinstance(decoded, FixedSupply)
    assert decoded.reserved_bits == 0
    assert decoded.peak_current == 3
