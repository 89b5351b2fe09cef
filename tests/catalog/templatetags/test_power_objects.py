"""Words of the pages for kinds, flags and findings."""

from __future__ import annotations

from typing import get_args

import pytest

from catalog.power_delivery.base import Kind, SupplyRange, peak_flags
from catalog.power_delivery.layout import FIRST_OBJECT_FLAGS
from catalog.power_delivery.objects import decode
from catalog.power_delivery.rules import RULES, Severity
from catalog.power_delivery.sources import Standing
from catalog.templatetags import power_objects


def test_every_kind_severity_and_standing_has_words() -> None:
    assert set(power_objects.KINDS) == set(get_args(Kind))
    assert set(power_objects.SIGNS) == set(get_args(Severity))
    assert set(power_objects.STANDINGS) == set(get_args(Standing))


def test_every_source_of_a_rule_can_be_named() -> None:
    for rule in RULES.values():
        assert power_objects.source_words(rule.source)


def test_every_flag_has_words() -> None:
    flags = [name for _, name in FIRST_OBJECT_FLAGS]
    flags += [flag for code in range(4) for flag in peak_flags(code)]
    flags += ["power-limited", "reserved-bits-set"]
    assert set(flags) == set(power_objects.FLAGS)


@pytest.mark.parametrize("type_bits", [0x0, 0x4, 0x8, 0xC, 0xD, 0xE, 0xF])
@pytest.mark.parametrize("rest", [0x0000001, 0xFFFFFFF])
def test_whatever_a_word_says_can_be_said(type_bits: int, rest: int) -> None:
    item = decode(type_bits << 28 | rest, position=1)
    assert power_objects.flag_words(item.flags)
    assert power_objects.kind_words(item.kind)


def test_numbers_and_ranges_are_written_without_needless_zeros() -> None:
    assert power_objects.plain_number(2.22) == "2.22"
    assert power_objects.plain_number(140.0) == "140"
    assert power_objects.plain_number(104.6322) == "104.6322"
    assert power_objects.plain_number(None) == "–"
    assert power_objects.voltage_words(SupplyRange(5.0, 5.0)) == "5"
    assert power_objects.voltage_words(SupplyRange(3.3, 11.0)) == "3.3 to 11"
