"""Linux kernel, drivers/usb/typec/tcpm/tcpm.c: what it refuses in a list of capabilities.

The driver checks a list before it uses it and names eight faults. It was read; each fault here is
a list that it refuses, or would accept, beside the rule of the audit that says the same.
"""

from __future__ import annotations

import pytest

from catalog.power_delivery.audit import audit
from catalog.power_delivery.objects import decode_all

FIVE, NINE, FIFTEEN, TWENTY = 0x0001912C, 0x0002D12C, 0x0004B12C, 0x00064145
BATTERY_TO_21, BATTERY_FROM_5 = 0x5A4108B4, 0x5A4190B4
VARIABLE_NEAR_5, VARIABLE_TO_21 = 0x86917D2C, 0x9A4108C8
PROGRAMMABLE_TO_11, PROGRAMMABLE_TO_16, PROGRAMMABLE_TO_21 = 0xC0DC213C, 0xC940213C, 0xC1A42164
PROGRAMMABLE_TO_11_WEAKER = 0xC0DC2128

ORDER_RULES = {
    "no-profile",
    "first-object-five-volts",
    "order-of-kinds",
    "order-fixed-ascending",
    "order-battery-ascending",
    "order-variable-ascending",
    "order-pps-ascending",
    "duplicate-object",
}

REFUSED = [
    ("caps should have vSafe5V", [], {"no-profile"}),
    ("vSafe5V fixed first, not 9 V", [NINE, TWENTY], {"first-object-five-volts"}),
    ("vSafe5V fixed first, not variable", [VARIABLE_NEAR_5], {"first-object-five-volts"}),
    ("battery before fixed", [FIVE, BATTERY_TO_21, NINE], {"order-of-kinds"}),
    ("variable before battery", [FIVE, VARIABLE_NEAR_5, BATTERY_TO_21], {"order-of-kinds"}),
    ("augmented before variable", [FIVE, PROGRAMMABLE_TO_11, VARIABLE_TO_21], {"order-of-kinds"}),
    ("fixed not ascending", [FIVE, FIFTEEN, NINE], {"order-fixed-ascending"}),
    ("fixed equal", [FIVE, NINE, NINE], {"duplicate-object"}),
    ("battery not by minimum", [FIVE, BATTERY_FROM_5, BATTERY_TO_21], {"order-battery-ascending"}),
    (
        "variable not by minimum",
        [FIVE, VARIABLE_NEAR_5, VARIABLE_TO_21],
        {"order-variable-ascending"},
    ),
    ("battery range twice", [FIVE, BATTERY_TO_21, BATTERY_TO_21], {"duplicate-object"}),
    ("variable range twice", [FIVE, VARIABLE_NEAR_5, VARIABLE_NEAR_5], {"duplicate-object"}),
    (
        "programmable not by maximum",
        [FIVE, PROGRAMMABLE_TO_16, PROGRAMMABLE_TO_11],
        {"order-pps-ascending"},
    ),
    (
        "programmable range and current twice",
        [FIVE, PROGRAMMABLE_TO_11, PROGRAMMABLE_TO_11],
        {"duplicate-object"},
    ),
]
ACCEPTED = [
    ("only 5 V", [FIVE]),
    ("fixed ascending", [FIVE, NINE, FIFTEEN, TWENTY]),
    ("every kind in order", [FIVE, NINE, BATTERY_TO_21, VARIABLE_TO_21, PROGRAMMABLE_TO_11]),
    ("battery by minimum", [FIVE, BATTERY_TO_21, BATTERY_FROM_5]),
    ("programmable by maximum", [FIVE, PROGRAMMABLE_TO_11, PROGRAMMABLE_TO_16, PROGRAMMABLE_TO_21]),
    (
        "programmable range twice with another current",
        [FIVE, PROGRAMMABLE_TO_11, PROGRAMMABLE_TO_11_WEAKER],
    ),
]


def broken(words: list[int]) -> set[str]:
    return {finding.rule for finding in audit(decode_all(words))} & ORDER_RULES


@pytest.mark.parametrize(
    ("words", "rules"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED]
)
def test_a_list_that_the_kernel_refuses_breaks_the_same_rule(
    words: list[int], rules: set[str]
) -> None:
    assert broken(words) == rules


@pytest.mark.parametrize(
    "words", [case[1] for case in ACCEPTED], ids=[case[0] for case in ACCEPTED]
)
def test_a_list_that_the_kernel_accepts_breaks_no_rule_of_order(words: list[int]) -> None:
    assert broken(words) == set()


def test_the_kernel_allows_seven_objects_in_a_message() -> None:
    # PDO_MAX_OBJECTS in include/linux/usb/pd.h.
    seven = [0x0001912C + (step << 12) for step in range(7)]
    assert "spr-object-count" not in {item.rule for item in audit(decode_all(seven))}
    eight = [*seven, PROGRAMMABLE_TO_11]
    assert "spr-object-count" in {item.rule for item in audit(decode_all(eight))}
