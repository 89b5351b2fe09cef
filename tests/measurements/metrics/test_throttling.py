"""Falls of the output power that are known, and what must not be taken for one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.throttling import LevelError, closing_mean, power_course

HOUR = np.arange(0.0, 3601.0, 10.0)


def test_a_step_down_gives_onset_and_both_levels() -> None:
    course = power_course(HOUR, power=np.where(HOUR < 1380, 100.0, 65.0))
    (found,) = course.reductions
    assert (course.load_on, course.level) == (0, 100)
    assert (found.onset, found.held_until, found.level) == (1380, 1370, 65)
    assert found.recovery is None


def test_a_return_that_lasts_is_a_recovery_and_a_second_fall_another_reduction() -> None:
    low = ((HOUR >= 600) & (HOUR < 1200)) | (HOUR >= 3000)
    first, second = power_course(HOUR, power=np.where(low, 60.0, 100.0)).reductions
    assert (first.onset, first.recovery) == (600, 1200)
    assert (second.onset, second.recovery) == (3000, None)


@pytest.mark.parametrize(("seconds", "counts"), [(30, False), (60, False), (70, True), (120, True)])
def test_a_fall_has_to_last_a_minute_from_its_first_to_its_last_reading(
    seconds: float, counts: bool
) -> None:
    low = np.zeros(len(HOUR), dtype=np.bool_)
    low[100 : 100 + round(seconds / 10)] = True
    course = power_course(HOUR, power=np.where(low, 50.0, 100.0))
    assert bool(course.reductions) is counts


def test_a_short_return_does_not_end_a_reduction() -> None:
    power = np.where(HOUR < 1000, 100.0, 70.0)
    power[(HOUR >= 2000) & (HOUR < 2030)] = 100.0
    (found,) = power_course(HOUR, power=power).reductions
    assert (found.onset, found.level, found.recovery) == (1000, 70, None)


@pytest.mark.parametrize(("share", "counts"), [(0.951, False), (0.949, True)])
def test_five_percent_is_the_bound(share: float, counts: bool) -> None:
    course = power_course(HOUR, power=np.where(HOUR < 600, 100.0, 100 * share))
    assert bool(course.reductions) is counts


def test_negotiation_before_the_load_and_a_spike_do_not_move_the_level() -> None:
    power = np.full(len(HOUR), 100.0)
    power[:3] = (0.0, 5.0, 15.0)
    power[5] = 140.0
    course = power_course(HOUR, power=power)
    assert course.level == 100
    assert course.load_on == 20
    assert course.reductions == ()


def test_blank_readings_are_left_out() -> None:
    power = np.where(HOUR < 1380, 100.0, 65.0)
    power[::2] = math.nan
    (found,) = power_course(HOUR, power=power).reductions
    assert (found.onset, found.held_until) == (1390, 1370)


@pytest.mark.parametrize(
    ("time", "power"),
    [
        ([], []),
        ([0.0, 10.0, 20.0], [0.0, 0.0, 0.0]),
        ([0.0, 10.0, 20.0], [math.nan] * 3),
        ([0.0, 10.0], [100.0, 100.0]),
        ([0.0, 300.0, 600.0, 900.0], [100.0, 100.0, 60.0, 60.0]),
        ([0.0, 10.0, 20.0], [-5.0, -5.0, -5.0]),
    ],
    ids=["empty", "no load", "blank", "two readings", "every five minutes", "negative"],
)
def test_a_record_without_a_level_is_refused(time: list[float], power: list[float]) -> None:
    with pytest.raises(LevelError):
        power_course(np.array(time), power=np.array(power))


powers = st.lists(st.floats(0, 300) | st.just(math.nan), min_size=12, max_size=120)


@settings(max_examples=200, deadline=None)
@given(powers, st.floats(0.05, 20))
def test_a_gain_changes_levels_and_no_times(values: list[float], gain: float) -> None:
    time = np.arange(len(values), dtype=np.float64) * 15
    power = np.round(np.array(values), 1)
    try:
        plain = power_course(time, power=power)
    except LevelError:
        return
    # A power of two scales without rounding, so that no reading crosses the bound by it.
    factor = 2.0 ** round(math.log2(gain))
    scaled = power_course(time, power=factor * power)
    assert scaled.level == factor * plain.level
    assert [(item.onset, item.recovery) for item in scaled.reductions] == [
        (item.onset, item.recovery) for item in plain.reductions
    ]


@settings(max_examples=200, deadline=None)
@given(powers)
def test_reductions_are_apart_lasting_and_below_the_bound(values: list[float]) -> None:
    time = np.arange(len(values), dtype=np.float64) * 15
    try:
        course = power_course(time, power=np.array(values))
    except LevelError:
        return
    end = course.load_on
    for item in course.reductions:
        assert end <= item.held_until < item.onset
        stop = math.inf if item.recovery is None else item.recovery
        assert stop - item.onset > 60
        end = stop


@settings(max_examples=100, deadline=None)
@given(st.floats(1, 300), st.floats(0.951, 1.049), st.integers(0, 2**31))
def test_scatter_inside_the_band_is_no_reduction(level: float, share: float, seed: int) -> None:
    low, high = min(share, 2 - share), max(share, 2 - share)
    power: FloatArray = level * np.random.default_rng(seed).uniform(low, high, len(HOUR))
    course = power_course(HOUR, power=power)
    # The median may itself lie as far up as the readings go.
    if low >= 0.95 * course.level / level:
        assert course.reductions == ()


class TestClosingMean:
    def test_a_ramp_has_the_value_in_its_middle(self) -> None:
        closing = closing_mean(HOUR, value=HOUR / 10, window=600.0)
        assert closing is not None
        assert closing.mean == pytest.approx(330)

    def test_dense_readings_do_not_count_more(self) -> None:
        time = np.array([0.0, 300.0, *np.arange(301.0, 311.0), 600.0])
        value = np.where(time <= 300, 10.0, 20.0)
        closing = closing_mean(time, value=value, window=600.0)
        assert closing is not None
        # Trapezoids: 300 s at 10, 1 s of rise, 299 s at 20.
        assert closing.mean == pytest.approx((3000 + 15 + 299 * 20) / 600)

    def test_equal_readings_have_no_scatter(self) -> None:
        closing = closing_mean(HOUR, value=np.full(len(HOUR), 64.3), window=600.0)
        assert closing is not None
        assert closing.standard_error == 0
        assert closing.mean == pytest.approx(64.3)

    @pytest.mark.parametrize(
        "kept",
        [slice(0, 0), slice(-2, None), slice(-20, None), slice(0, -61)],
        ids=["none", "two readings", "under half the stretch", "blank at the end"],
    )
    def test_a_stretch_that_is_hardly_covered_has_no_mean(self, kept: slice) -> None:
        value = np.full(len(HOUR), math.nan)
        value[kept] = 50.0
        assert closing_mean(HOUR, value=value, window=600.0) is None

    def test_an_empty_record_has_no_mean(self) -> None:
        assert closing_mean(np.array([]), value=np.array([]), window=600.0) is None

    @given(st.lists(st.floats(0, 300), min_size=10, max_size=40))
    def test_it_lies_between_the_lowest_and_the_highest_reading(self, values: list[float]) -> None:
        time = np.linspace(0.0, 600.0, len(values))
        closing = closing_mean(time, value=np.array(values), window=600.0)
        assert closing is not None
        assert min(values) - 1e-9 <= closing.mean <= max(values) + 1e-9
