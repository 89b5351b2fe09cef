from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.stages import Stage, power_stages, smallest_step

LEVELS = (12.0, 20.0, 35.0, 60.0, 90.0)


def stages_of(time: FloatArray, power: FloatArray) -> tuple[Stage, ...]:
    return power_stages(time, power=power, joined=np.ones(len(time) - 1, dtype=bool))


def staircase(
    runs: list[tuple[float, float]], *, spacing: float = 1.0, noise: float = 0.0, seed: int = 0
) -> tuple[FloatArray, FloatArray]:
    """Power at the given levels [W], each for so many seconds."""
    ends = np.cumsum([seconds for _, seconds in runs])
    time = np.arange(0.0, ends[-1], spacing)
    power = np.array([level for level, _ in runs])[np.searchsorted(ends, time, side="right")]
    return time, power + np.random.default_rng(seed).normal(0, noise, time.size)


@pytest.mark.parametrize("noise", [0.0, 0.1, 2.0])
def test_steps_at_known_places_are_found_to_a_reading(noise: float) -> None:
    time, power = staircase([(87, 725), (45, 1210), (60, 333), (8, 900)], noise=noise)
    found = stages_of(time, power)
    assert [stage.steady for stage in found] == [True] * 4
    assert [stage.start for stage in found] == pytest.approx([0, 725, 1935, 2268], abs=1)
    assert [stage.end for stage in found[:-1]] == [stage.start for stage in found[1:]]
    assert [stage.mean for stage in found] == pytest.approx([87, 45, 60, 8], abs=0.4)
    assert found[0].spread == pytest.approx(noise, rel=0.1, abs=0.01)


def test_a_constant_power_is_one_stage() -> None:
    (stage,) = stages_of(*staircase([(60, 3600)], noise=0.3))
    assert (stage.start, stage.end, stage.steady) == (0, 3599, True)
    assert stage.mean == pytest.approx(60, abs=0.03)


@pytest.mark.parametrize(("step", "count"), [(1.6, 1), (2.0, 2)])
def test_neighbours_that_differ_by_less_than_three_percent_are_one(step: float, count: int) -> None:
    # 3 % of the higher of the two levels is 1.85 W and 1.86 W.
    assert len(stages_of(*staircase([(60, 900), (60 + step, 900)], noise=0.05))) == count


@pytest.mark.parametrize(("seconds", "count"), [(40, 1), (90, 3)])
def test_a_stage_under_a_minute_joins_its_neighbour(seconds: float, count: int) -> None:
    time, power = staircase([(60, 900), (40, seconds), (60, 900)], noise=0.05)
    assert len(stages_of(time, power)) == count


def test_a_taper_is_one_falling_stage_and_no_staircase() -> None:
    time = np.arange(0.0, 7200.0)
    power = np.where(time < 1800, 60.0, 60 * np.exp(-(time - 1800) / 1500))
    steady, falling = stages_of(time, power)
    assert steady.steady
    assert steady.end == pytest.approx(1800, abs=90)
    assert not falling.steady
    assert falling.slope < 0
    assert falling.last == pytest.approx(60 * np.exp(-5400 / 1500), rel=0.02)


@pytest.mark.parametrize("noise", [0.0, 0.15, 2.0])
@pytest.mark.parametrize("spacing", [1.0, 3.0])
def test_a_ramp_up_of_seconds_is_not_of_the_stage_after_it(noise: float, spacing: float) -> None:
    # 15 s up to 93 W, 15 min there, 20 min at 45 W: a line through the first 15 min would rise.
    time, power = staircase([(93, 915), (45, 1200)], spacing=spacing, noise=noise)
    power = power * np.clip(time / 15, 0, 1)
    high, low = stages_of(time, power)
    assert high.steady
    assert low.steady
    # From where the ramp is within half of 3 %, or three deviations, of its end.
    assert high.start == pytest.approx(14.8, abs=spacing + 3 * noise / (93 / 15))
    assert high.end == pytest.approx(915, abs=spacing)
    assert high.mean == pytest.approx(93, abs=0.05 + 0.15 * noise)
    assert high.spread == pytest.approx(noise, rel=0.15, abs=0.03)
    assert low.start == pytest.approx(915, abs=spacing)


@pytest.mark.parametrize(("seconds", "steady"), [(50, True), (300, False)])
def test_a_ramp_of_minutes_is_a_stage_of_its_own(seconds: float, steady: bool) -> None:
    time = np.arange(0.0, 3600.0)
    found = stages_of(time, 60 * np.clip((time + 1) / seconds, 0.02, 1))
    assert [stage.steady for stage in found] == ([True] if steady else [False, True])
    assert found[-1].start == pytest.approx(seconds, abs=20)
    assert found[-1].mean == pytest.approx(60, abs=0.05)


def test_a_short_plateau_before_a_taper_keeps_its_level() -> None:
    # 14 min at 67 W, 4 min at 93 W, then a decay to the end: the plateau's power is exact.
    time = np.arange(0.0, 3600.0)
    power = np.where(time < 840, 67.0, 93 * np.exp(-np.maximum(time - 1080, 0) / 600))
    low, high, falling = stages_of(time, power)
    assert (low.steady, high.steady, falling.steady) == (True, True, False)
    assert (low.start, low.end, high.start) == (0, 840, 840)
    assert high.end == pytest.approx(1080, abs=15)
    assert high.mean == pytest.approx(93, abs=0.1)
    assert falling.start == high.end


def test_a_slope_reaches_from_one_steady_stage_to_the_next() -> None:
    time = np.arange(0.0, 4800.0)
    power = np.interp(time, [0, 1500, 2100, 4800], [80, 80, 40, 40])
    high, falling, low = stages_of(time, power)
    assert (high.end, falling.end) == (falling.start, low.start)
    assert [high.mean, low.mean] == pytest.approx([80, 40], abs=0.2)
    assert falling.slope == pytest.approx(-40 / 600, rel=0.05)


def test_no_stage_spans_a_gap() -> None:
    time, power = staircase([(60, 1200)])
    time = np.where(time < 600, time, time + 300)
    joined = np.diff(time) < 100
    first, second = power_stages(time, power=power, joined=joined)
    assert (first.end, second.start) == (599, 900)


def test_what_is_left_between_gaps_for_less_than_a_minute_is_no_stage() -> None:
    assert stages_of(*staircase([(60, 50)])) == ()


def test_two_readings_an_hour_apart_are_a_stage() -> None:
    (stage,) = stages_of(np.array([0.0, 3600.0]), np.array([20.0, 20.0]))
    assert stage.mean == 20


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(LEVELS), st.integers(18, 60)), min_size=1, max_size=6
    ).filter(lambda runs: all(a[0] != b[0] for a, b in pairwise(runs))),
    st.integers(0, 2**32 - 1),
    st.sampled_from([1.0, 2.0, 5.0, 10.0]),
    st.integers(-(10**6), 10**6),
)
def test_the_stages_depend_neither_on_the_sampling_nor_on_where_time_starts(
    runs: list[tuple[float, int]], seed: int, spacing: float, shift: int
) -> None:
    lengths = [(level, 10.0 * count) for level, count in runs]
    time, power = staircase(lengths, spacing=spacing, noise=0.2, seed=seed)
    found = stages_of(time, power)
    assert len(found) == len(runs)
    assert [stage.mean for stage in found] == pytest.approx([level for level, _ in runs], abs=0.2)
    moved = stages_of(time + shift, power)
    assert [stage.start - shift for stage in moved] == [stage.start for stage in found]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(1e-3, 400), st.floats(-5, 300)), min_size=1, max_size=80),
)
def test_any_record_gives_stages_in_order_that_leave_out_two_minutes_at_most(
    rows: list[tuple[float, float]],
) -> None:
    time = np.cumsum([row[0] for row in rows])
    power = np.array([row[1] for row in rows])
    longest = max(np.diff(time), default=0.0)
    found = stages_of(time, power)
    for stage in found:
        assert np.isfinite([stage.mean, stage.spread, stage.first, stage.last, stage.slope]).all()
        assert power.min() - 1e-9 <= stage.mean <= power.max() + 1e-9
    for before, after in pairwise(found):
        # Up to a minute at the end of one level and at the start of the next, and an interval.
        assert before.end <= after.start <= before.end + 2 * 60 + longest
        assert before.steady == after.steady or before.end == after.start


def test_the_smallest_step_is_a_watt_or_three_percent() -> None:
    assert smallest_step(10.0) == 1.0
    assert smallest_step(100.0) == 3.0
