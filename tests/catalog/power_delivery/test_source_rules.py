"""The table of source power rules is whole, and its shares lie on the 10 mA grid.

The 2.22 A of 20 W at 9 V, and the current ranges 1.67 to 3 A at 9 V, 1.8 to 3 A at 15 V and 2.25
to 5 A at 20 V, were read in a trade magazine (April 2022) and a semiconductor maker's course; the
rows above 100 W are from memory in their lower voltages.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.power_delivery.source_rules import (
    EXTENDED_ADJUSTABLE_RANGES,
    HIGHEST_POWER_W,
    LOWEST_POWER_W,
    POWER_ROWS,
    PROGRAMMABLE_RANGES,
    required_profiles,
    share_of_power_a,
)
from catalog.power_delivery.sources import SOURCES


@pytest.mark.parametrize(
    ("power_w", "profiles"),
    [
        (0.5, [(5, 0.1)]),
        (10, [(5, 2)]),
        (15, [(5, 3)]),
        (18, [(5, 3), (9, 2)]),
        (20, [(5, 3), (9, 2.22)]),
        (27, [(5, 3), (9, 3)]),
        (30, [(5, 3), (9, 3), (15, 2)]),
        (45, [(5, 3), (9, 3), (15, 3)]),
        (60, [(5, 3), (9, 3), (15, 3), (20, 3)]),
        (65, [(5, 3), (9, 3), (15, 3), (20, 3.25)]),
        (100, [(5, 3), (9, 3), (15, 3), (20, 5)]),
        (140, [(5, 3), (9, 3), (15, 3), (20, 5), (28, 5)]),
        (160, [(5, 3), (9, 3), (15, 3), (20, 5), (28, 5), (36, 4.44)]),
        (240, [(5, 3), (9, 3), (15, 3), (20, 5), (28, 5), (36, 5), (48, 5)]),
    ],
)
def test_a_rated_power_calls_for_these_profiles(
    power_w: float, profiles: list[tuple[float, float]]
) -> None:
    assert [(item.voltage_v, item.current_a) for item in required_profiles(power_w)] == profiles


@pytest.mark.parametrize(
    ("above_w", "voltage_v", "least_a"), [(15, 9, 1.67), (27, 15, 1.8), (45, 20, 2.25)]
)
def test_the_current_of_a_row_begins_where_the_source_says(
    above_w: float, voltage_v: float, least_a: float
) -> None:
    # The source rounds 15/9 to 1.67; the grid cuts it to 1.66 just above the boundary.
    assert round(above_w / voltage_v, 2) == least_a
    least = required_profiles(above_w + 0.001)[-1]
    assert least.voltage_v == voltage_v
    assert above_w / voltage_v - 0.01 < least.current_a <= above_w / voltage_v + 0.001


@pytest.mark.parametrize("power_w", [0.0, 0.49, -5.0, 240.01, float("nan"), float("inf")])
def test_no_row_covers_a_power_outside_the_table(power_w: float) -> None:
    assert required_profiles(power_w) == ()


@given(power_w=st.floats(LOWEST_POWER_W, HIGHEST_POWER_W))
def test_the_top_profile_gives_the_rated_power_up_to_one_step(power_w: float) -> None:
    top = required_profiles(power_w)[-1]
    assert top.voltage_v * top.current_a <= power_w + 0.001
    assert top.voltage_v * (top.current_a + 0.01) > power_w - 0.001
    assert top.current_a <= 5.0


@given(power_mw=st.integers(500, 240_000), voltage_v=st.sampled_from([5.0, 9.0, 15.0, 20.0]))
def test_a_share_is_cut_down_to_the_grid(power_mw: int, voltage_v: float) -> None:
    share = share_of_power_a(power_mw / 1000, voltage_v=voltage_v)
    steps = round(share * 100)
    assert share == steps / 100
    assert steps * voltage_v * 10 <= power_mw < (steps + 1) * voltage_v * 10


def test_the_rows_follow_each_other_without_gap() -> None:
    for lower, upper in pairwise(POWER_ROWS):
        assert lower.up_to_w == upper.above_w
    assert POWER_ROWS[0].above_w < LOWEST_POWER_W


def test_every_row_names_its_source_and_what_was_not_read_says_so() -> None:
    named = {row.source for row in POWER_ROWS}
    named |= {item.source for item in (*PROGRAMMABLE_RANGES, *EXTENDED_ADJUSTABLE_RANGES)}
    assert named <= SOURCES.keys()
    assert {row.standing for row in POWER_ROWS if row.above_w >= 100} == {"from memory"}
    assert {row.standing for row in POWER_ROWS if row.above_w < 100} == {"secondary"}
    assert [item.name_v for item in PROGRAMMABLE_RANGES if item.standing == "seen"] == [9.0]
