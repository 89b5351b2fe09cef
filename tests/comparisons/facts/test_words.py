"""Numbers, lists and conditions within a sentence."""

from __future__ import annotations

import pytest

from comparisons.facts.words import (
    counted,
    few,
    kept_together,
    ordinal,
    quantity,
    uncapitalised,
    where,
    without_breaks,
)
from measurements.kinds.base import Condition


@pytest.mark.parametrize(
    ("number", "said"),
    # Source: English ordinals, as any grammar of the language lists them; from memory.
    [
        *((1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th")),
        *((13, "13th"), (21, "21st"), (22, "22nd"), (101, "101st"), (111, "111th")),
        *((113, "113th"), (1002, "1002nd")),
    ],
)
def test_ordinals_are_english(number: int, said: str) -> None:
    assert ordinal(number) == said


@pytest.mark.parametrize(
    ("value", "expanded", "unit", "decimals", "said"),
    [
        (0.21236, 0.00345, "W", 4, "0.2124 ± 0.0034 W"),
        (-2.34, 0.9, "K", 1, "−2.3 ± 0.9 K"),
        (45.0, 0.046, "W", 1, "45.0 ± 0.05 W"),
        (8.0, 0.0, "1", 0, "8 ± 0"),
        (0.21, None, "W", 2, "0.21 W (U not stated)"),
        (87_132.3, 9.6, "Hz", 0, "87 132 ± 10 Hz"),
    ],
)
def test_a_quantity_has_its_decimals_its_sign_and_its_unit(
    value: float, expanded: float | None, unit: str, decimals: int, said: str
) -> None:
    found = quantity(value, expanded, unit=unit, decimals=decimals)
    assert without_breaks(found) == said
    # ISO 80000-1:2009, 7.1.4: the unit follows the number; a line must not part them.
    assert " " not in found.removesuffix(" (U not stated)")


def test_one_and_many_differ() -> None:
    assert without_breaks(counted(1, "verdict")) == "1 verdict"
    assert without_breaks(counted(2, "verdict")) == "2 verdicts"
    assert few(1, "USB-A port") == "one USB-A port"
    assert few(2, "USB-C port") == "two USB-C ports"
    assert few(9, "USB-C port") == "9 USB-C ports"


def test_a_condition_says_mains_and_voltage_and_keeps_units_with_their_numbers() -> None:
    found = where(Condition(line="high", output_v=20.0, sensor="top"))
    assert found == "at 230\u00a0V mains and 20\u00a0V output"
    assert where(Condition(device="tablet")) == ""
    assert kept_together("5 V is 5 volts") == "5\u00a0V is 5 volts"


def test_titles_within_a_sentence_keep_their_abbreviations() -> None:
    assert uncapitalised("Standby power") == "standby power"
    assert uncapitalised("RMS ripple") == "RMS ripple"
