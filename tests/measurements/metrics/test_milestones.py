from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.milestones import first_crossing, level_resolution

NAN = float("nan")


def test_a_straight_rise_is_crossed_in_closed_form() -> None:
    time = np.arange(0.0, 101.0, 7.0)
    level = 10 + 0.5 * time
    found = first_crossing(time, level=level, target=33.0, joined=np.ones(14, dtype=bool))
    assert found is not None
    assert found.time == pytest.approx(46)
    assert found.slope == pytest.approx(0.5)
    assert found.interval == 7
    assert not found.in_gap


def test_the_first_crossing_counts_when_the_level_falls_back() -> None:
    time, level = np.arange(6.0), np.array([40.0, 60.0, 40.0, 60.0, 70.0, 80.0])
    found = first_crossing(time, level=level, target=50.0, joined=np.ones(5, dtype=bool))
    assert found is not None
    assert found.time == 0.5


def test_unknown_levels_are_passed_over() -> None:
    time, level = np.arange(5.0), np.array([40.0, NAN, NAN, NAN, 60.0])
    found = first_crossing(time, level=level, target=50.0, joined=np.ones(4, dtype=bool))
    assert found is not None
    assert (found.time, found.interval, found.in_gap) == (2.0, 4.0, False)


def test_a_crossing_inside_a_gap_says_so() -> None:
    time, level = np.array([0.0, 1.0, 2.0, 60.0]), np.array([40.0, NAN, 45.0, 60.0])
    joined = np.array([True, True, False])
    later = first_crossing(time, level=level, target=50.0, joined=joined)
    sooner = first_crossing(time, level=level, target=42.0, joined=joined)
    assert later is not None
    assert later.in_gap
    assert sooner is not None
    assert not sooner.in_gap


@pytest.mark.parametrize("level", [[60.0, 70.0], [40.0, 45.0], [NAN, NAN], [NAN, 55.0]])
def test_a_level_passed_before_or_never_reached_has_no_crossing(level: list[float]) -> None:
    joined = np.array([True])
    found = first_crossing(np.arange(2.0), level=np.array(level), target=50.0, joined=joined)
    assert found is None


@given(
    st.lists(
        st.tuples(st.floats(1e-2, 1e3), st.floats(0, 100) | st.just(NAN)), min_size=2, max_size=40
    ),
    st.floats(1, 100),
)
def test_a_crossing_lies_between_the_readings_that_bracket_it(
    rows: list[tuple[float, float]], target: float
) -> None:
    time = np.cumsum([row[0] for row in rows])
    level = np.array([row[1] for row in rows])
    joined = np.ones(len(rows) - 1, dtype=bool)
    found = first_crossing(time, level=level, target=target, joined=joined)
    known = np.isfinite(level)
    if found is None:
        levels = level[known]
        assert levels.size == 0 or levels[0] >= target or levels.max() < target
        return
    assert found.slope > 0
    assert not np.any(level[known & (time < found.time - 1e-9 * time[-1])] > target)
    assert time[0] <= found.time <= time[-1]


@given(st.floats(10, 90), st.floats(10, 90))
def test_a_higher_level_is_never_crossed_sooner(one: float, other: float) -> None:
    time = np.arange(0.0, 500.0, 3.0)
    level = 100 * (1 - np.exp(-time / 120))
    joined = np.ones(time.size - 1, dtype=bool)
    crossings = [
        first_crossing(time, level=level, target=target, joined=joined)
        for target in sorted((one, other))
    ]
    assert crossings[0] is not None
    assert crossings[1] is not None
    assert crossings[0].time <= crossings[1].time


@pytest.mark.parametrize(
    ("levels", "step"),
    [
        ([3.0, 4.0, 9.0], 1.0),
        ([0.0, 10.0, 30.0], 10.0),
        ([0.0, 5.0, 30.0], 5.0),
        ([0.5, 1.0, NAN], 0.5),
        ([33.3, 33.4], 0.1),
        ([33.33, 12.01], 0.01),
        ([1 / 3, 2 / 3], 0.0),
    ],
)
def test_the_resolution_is_the_coarsest_step_that_fits(levels: list[float], step: float) -> None:
    assert level_resolution(np.array(levels)) == step
