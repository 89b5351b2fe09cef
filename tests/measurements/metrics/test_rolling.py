from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.rolling import highest_rolling_median


def test_a_spike_under_half_the_window_does_not_count_and_a_longer_one_does() -> None:
    time = np.arange(60.0)
    joined = np.ones(59, dtype=bool)
    short = np.where((time >= 20) & (time < 24), 90.0, 30.0)
    long = np.where((time >= 20) & (time < 26), 90.0, 30.0)
    assert highest_rolling_median(time, y=short, joined=joined, window=10.0) == 30
    assert highest_rolling_median(time, y=long, joined=joined, window=10.0) == 90


def test_no_window_spans_a_gap() -> None:
    time = np.array([0.0, 4.0, 8.0, 108.0, 112.0, 116.0])
    joined = np.array([True, True, False, True, True])
    assert highest_rolling_median(time, y=np.full(6, 5.0), joined=joined, window=10.0) is None
    assert highest_rolling_median(time, y=np.full(6, 5.0), joined=joined, window=8.0) == 5


def test_readings_further_apart_than_the_window_count_one_by_one() -> None:
    time, power = np.array([0.0, 30.0, 60.0, 90.0]), np.array([10.0, 40.0, 20.0, 30.0])
    joined = np.ones(3, dtype=bool)
    assert highest_rolling_median(time, y=power, joined=joined, window=10.0) == 40


@given(
    st.lists(st.tuples(st.integers(1, 8), st.floats(0, 200)), min_size=2, max_size=40),
    st.integers(2, 30),
)
def test_it_is_the_highest_median_of_the_windows_taken_one_by_one(
    rows: list[tuple[int, float]], window: int
) -> None:
    time = np.cumsum([float(row[0]) for row in rows])
    power = np.array([row[1] for row in rows])
    joined = np.ones(len(rows) - 1, dtype=bool)
    medians = [
        float(np.median(power[(time > end - window) & (time <= end)]))
        for end in time
        if end - time[0] >= window
    ]
    found = highest_rolling_median(time, y=power, joined=joined, window=float(window))
    assert found == (pytest.approx(max(medians)) if medians else None)
