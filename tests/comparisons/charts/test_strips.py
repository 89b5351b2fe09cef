"""The geometry of strips and dots."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from comparisons.charts.strips import (
    MOST_SINGLE_TICKS,
    STRIP_UNITS,
    Limit,
    Strip,
    common_scale,
    dot,
    round_scale,
    scale_text,
    strip,
)
from comparisons.ranking import spread


def drawn(
    values: list[float], *, mark: float | None = None, limits: tuple[Limit, ...] = ()
) -> Strip | None:
    array = np.array(values)
    return strip(
        array,
        spread=spread(array),
        better="lower",
        unit="W",
        title="A cohort.",
        mark=mark,
        limits=limits,
    )


finite = st.floats(-1e6, 1e6, allow_nan=False).filter(lambda x: x == 0 or abs(x) > 1e-6)


@given(st.lists(finite, min_size=1, max_size=40))
def test_a_round_scale_holds_every_value(values: list[float]) -> None:
    scale = round_scale(values)
    span = scale.high - scale.low
    assert span > 0
    assert scale.low - 1e-6 * span <= min(values)
    assert max(values) <= scale.high + 1e-6 * span


@pytest.mark.parametrize(
    ("values", "low", "high"),
    [([0.041, 0.284], 0.0, 0.3), ([84.3, 95.1], 84.0, 96.0), ([-9.0, 28.0], -10.0, 30.0)],
)
def test_a_round_scale_has_round_ends(values: list[float], low: float, high: float) -> None:
    scale = round_scale(values)
    assert (scale.low, scale.high) == pytest.approx((low, high))


def test_a_scale_needs_a_value() -> None:
    with pytest.raises(ValueError, match="at least one"):
        round_scale([])


def test_an_empty_cohort_has_no_strip() -> None:
    assert drawn([]) is None


def test_every_adapter_is_one_tick_at_its_place() -> None:
    found = drawn([0.0, 5.0, 10.0])
    assert found is not None
    assert found.ticks == f"M0 0V14M{STRIP_UNITS // 2} 0V14M{STRIP_UNITS} 0V14"
    assert not found.binned
    assert found.median == 50.0


def test_equal_values_share_a_tick() -> None:
    found = drawn([1.0, 1.0, 1.0])
    assert found is not None
    assert found.ticks.count("M") == 1


def test_many_adapters_are_drawn_as_heights_that_follow_their_number() -> None:
    values = [0.0] * (MOST_SINGLE_TICKS + 1) + [10.0]
    found = drawn(values)
    assert found is not None
    assert found.binned
    tops = [float(top) for top in re.findall(r"M\d+ ([\d.]+)V", found.ticks)]
    assert tops == [0.0, 11.0]  # full height for the crowd, the shortest mark for one


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=20), st.floats(-200, 200))
@example([5e-324], 0.0)
@example([1.0, 1.0 + 2**-52], 1.0)
@example([1e-295, 2e-295], 0.0)
def test_nothing_is_drawn_outside(values: list[float], mark: float) -> None:
    found = drawn(values, mark=mark, limits=(Limit(mark / 2, "limit"),))
    assert found is not None
    assert found.mark is not None
    assert 0 <= found.limits[0].at <= 100
    for place in (found.box_from, found.box_from + found.box_width, found.median, found.mark):
        assert -0.02 <= place <= 100.02
    assert all(0 <= int(place) <= STRIP_UNITS for place in re.findall(r"M(\d+) ", found.ticks))


def test_a_limits_label_hangs_toward_the_middle_below_those_farther_out() -> None:
    found = drawn(
        [0.0, 10.0], limits=(Limit(9.0, "d"), Limit(3.0, "b"), Limit(1.0, "a"), Limit(7.0, "c"))
    )
    assert found is not None
    placed = [(mark.label, mark.anchor) for mark in found.limits]
    assert placed == [("a", "start"), ("b", "start"), ("d", "end"), ("c", "end")]
    lines = [mark.line_y for mark in found.limits]
    assert lines == sorted(set(lines))
    assert max(mark.label_y for mark in found.limits) < found.top


def test_the_ends_carry_the_unit_and_name_the_better_end() -> None:
    found = drawn([0.041, 0.284])
    assert found is not None
    assert (found.low, found.high) == ("0 W · better", "0.3 W")


def test_a_negative_end_has_the_minus_sign_of_print() -> None:
    assert scale_text(round_scale([-9.0, 28.0]), unit="K") == "−10 to 30 K"


def test_a_dot_lies_in_the_middle_of_its_whisker() -> None:
    scale = common_scale(np.array([10.0, 20.0]), np.array([1.0, 2.5]))
    found = dot(20.0, 2.5, scale=scale)
    assert found.whisker_from < found.at < found.whisker_from + found.whisker_width
    assert found.at == pytest.approx(found.whisker_from + found.whisker_width / 2, abs=0.02)
    assert scale.share(25.0) <= 100
