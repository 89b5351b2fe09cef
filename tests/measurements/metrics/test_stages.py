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
def test_any_record_gives_stages_that_touch_and_are_told_apart(
    rows: list[tuple[float, float]],
) -> None:
    time = np.cumsum([row[0] for row in rows])
    power = np.array([row[1] for row in rows])
    found = stages_of(time, power)
    for stage in found:
        assert np.isfinite([stage.mean, stage.spread, stage.first, stage.last, stage.slope]).all()
        assert power.min() - 1e-9 <= stage.mean <= power.max() + 1e-9
    for before, after in pairwise(found):
        assert before.end == after.start


def test_the_smallest_step_is_a_watt_or_three_percent() -> None:
    assert smallest_step(10.0) == 1.0
    assert smallest_step(100.0) == 3.0
