"""Words become objects and words again; what a word cannot hold is refused."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from catalog.power_delivery.augmented import Padding, ReservedObject
from catalog.power_delivery.objects import DataObject, decode, decode_all, encode
from catalog.power_delivery.supplies import BatterySupply, FixedSupply, VariableSupply
from tests.catalog.power_delivery.scans import adjustable, extended, fixed, programmable

WORDS = st.integers(0, 0xFFFF_FFFF)


@given(word=WORDS, position=st.integers(1, 11))
@example(word=0x00000000, position=1)
@example(word=0xFFFFFFFF, position=1)
@example(word=0x00400000, position=2)
@example(word=0xC6010080, position=2)
@example(word=0xE3F00000, position=2)
def test_every_word_decodes_and_is_written_back_bit_by_bit(word: int, position: int) -> None:
    decoded = decode(word, position=position)
    assert encode(decoded) == word
    assert decoded.position == position


@given(word=WORDS)
def test_every_quantity_is_an_exact_decimal_of_its_grid(word: int) -> None:
    decoded = decode(word, position=1)
    for quantity, places in (
        (decoded.voltage_min_v, 2),
        (decoded.voltage_max_v, 2),
        (decoded.current_max_a, 2),
        (decoded.power_max_w, 4),
    ):
        if quantity is not None:
            assert Decimal(repr(quantity)) == round(Decimal(repr(quantity)), places)


@given(word=WORDS)
def test_the_power_is_that_of_the_corner_of_a_range(word: int) -> None:
    decoded = decode(word, position=1)
    corners = [
        item.power_max_w if item.current_max_a is None else item.voltage_max_v * item.current_max_a
        for item in decoded.ranges
    ]
    if corners:
        assert decoded.power_max_w == pytest.approx(
            max(corner for corner in corners if corner is not None), abs=1e-9
        )
    else:
        assert not decoded.power_max_w


def test_the_flags_of_the_source_count_in_the_first_object_only() -> None:
    first, second = decode_all([0x0881912C, 0x0882D12C])
    assert first.flags == ("unconstrained-power", "epr-mode-capable")
    assert second.flags == ()
    assert encode(second) == 0x0882D12C


def test_reserved_bits_are_kept_and_named() -> None:
    for word in (0x0041912C, 0xC0DD213C, 0xD231968C, 0xE014B0E1):
        decoded = decode(word, position=1)
        assert "reserved-bits-set" in decoded.flags
        assert encode(decoded) == word


def test_the_zero_word_offers_nothing_and_a_reserved_type_is_kept_raw() -> None:
    padding, reserved = decode_all([0x00000000, 0xFABCDEF1])
    assert isinstance(padding, Padding)
    assert padding.current_at(5.0) is None
    assert isinstance(reserved, ReservedObject)
    assert reserved.payload == 0xABCDEF1
    assert reserved.current_at(5.0) is None


@pytest.mark.parametrize(
    ("data_object", "voltage_v", "current_a"),
    [
        (fixed(9, 2.22), 9.0, 2.22),
        (fixed(9, 2.22), 9.05, None),
        (programmable(11, 3), 3.3, 3.0),
        (programmable(11, 3), 11.0, 3.0),
        (programmable(11, 3), 11.1, None),
        (programmable(11, 3), 3.2, None),
        (adjustable(3, 2.25), 8.9, None),
        (adjustable(3, 2.25), 15.0, 3.0),
        (adjustable(3, 2.25), 15.1, 2.25),
        (adjustable(3, 0), 15.1, None),
        (extended(28, 140), 28.0, 5.0),
        (extended(28, 112), 28.0, 4.0),
        (extended(28, 140), 15.0, 5.0),  # the cable, not 140 W over 15 V
        (BatterySupply(voltage_min_v=5, voltage_max_v=20, power_max_w=45), 20.0, 2.25),
        (BatterySupply(voltage_min_v=5, voltage_max_v=20, power_max_w=45), 5.0, 5.0),
        (VariableSupply(voltage_min_v=4.75, voltage_max_v=5.25, current_max_a=3), 5.0, 3.0),
    ],
)
def test_an_object_tells_the_current_it_offers_at_a_voltage(
    data_object: DataObject, voltage_v: float, current_a: float | None
) -> None:
    assert data_object.current_at(voltage_v) == current_a


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: fixed(5.01, 3), "voltage_v goes in steps of 0.05"),
        (lambda: fixed(51.2, 3), "voltage_v must be 0 to 51.15"),
        (lambda: fixed(-5, 3), "voltage_v must be 0 to 51.15"),
        (lambda: fixed(float("nan"), 3), "voltage_v must be 0 to 51.15"),
        (lambda: fixed(5, 3.005), "current_max_a goes in steps of 0.01"),
        (lambda: fixed(5, float("inf")), "current_max_a must be 0 to 10.23"),
        (lambda: programmable(25.6, 3), "voltage_max_v must be 0 to 25.5"),
        (lambda: programmable(11, 6.4), "current_max_a must be 0 to 6.35"),
        (lambda: extended(51.2, 100), "voltage_max_v must be 0 to 51.1"),
        (lambda: extended(48, 255.5), "power_max_w goes in steps of 1|power_max_w must be"),
        (lambda: FixedSupply(voltage_v=5, current_max_a=3, peak_current=4), "peak_current must"),
        (
            lambda: FixedSupply(voltage_v=5, current_max_a=3, source_flags=frozenset({"loud"})),
            "no flag loud",
        ),
        (
            lambda: FixedSupply(voltage_v=5, current_max_a=3, reserved_bits=1),
            "outside the reserved bits",
        ),
        (lambda: ReservedObject(payload=1 << 28), "payload must be 0 to 268435455"),
    ],
)
def test_what_a_word_cannot_hold_is_refused_by_name(
    build: Callable[[], DataObject], words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        encode(build())


@pytest.mark.parametrize("word", [-1, 0x1_0000_0000])
def test_more_than_32_bits_are_refused(word: int) -> None:
    with pytest.raises(ValueError, match="32 bits"):
        decode(word, position=1)


def test_positions_count_from_one() -> None:
    with pytest.raises(ValueError, match="count from 1"):
        decode(0x0001912C, position=0)
