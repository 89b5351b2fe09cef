"""Means over stretches of time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.gaps import BoolArray
from measurements.metrics.integration import integral
from measurements.metrics.interval_means import interval_means

spacings = st.lists(st.floats(0.01, 100), min_size=1, max_size=30)


def means_of(
    time: list[float], y: list[float], edges: list[float], joined: list[bool] | None = None
) -> tuple[list[float], list[float]]:
    known: BoolArray = np.array(joined if joined else [True] * (len(time) - 1), dtype=np.bool_)
    means, covered = interval_means(
        np.array(time, dtype=np.float64),
        y=np.array(y, dtype=np.float64),
        joined=known,
        edges=np.array(edges, dtype=np.float64),
    )
    return means.tolist(), covered.tolist()


def test_a_line_has_its_middle_as_mean_wherever_it_is_cut() -> None:
    means, covered = means_of([0, 10], [0, 10], [0, 2, 5, 10])
    assert means == pytest.approx([1, 3.5, 7.5])
    assert covered == pytest.approx([2, 3, 5])


def test_dense_readings_weigh_no_more_than_sparse_ones() -> None:
    # 9 s at 10 W read twice, then 1 s at 20 W read ten times.
    time = [0.0, 9.0, *np.linspace(9.0001, 10, 10)]
    (mean,), _ = means_of(time, [10, 10, *[20] * 10], [0, 10])
    assert mean == pytest.approx(11, abs=0.001)


def test_a_gap_counts_nowhere() -> None:
    means, covered = means_of([0, 4, 20, 24], [1, 1, 9, 9], [0, 8, 16, 24], [True, False, True])
    assert means[0] == 1
    assert np.isnan(means[1])
    assert means[2] == 9
    assert covered == [4, 0, 4]


def test_outside_the_log_nothing_is_known() -> None:
    means, covered = means_of([10, 20], [5, 5], [0, 5, 15, 30])
    assert np.isnan(means[0])
    assert (means[1:], covered) == ([5, 5], [0, 5, 5])


def test_a_stretch_without_length_has_no_mean() -> None:
    means, covered = means_of([0, 10], [3, 3], [0, 5, 5, 10])
    assert (means[0], means[2], covered) == (3, 3, [5, 0, 5])
    assert np.isnan(means[1])


@pytest.mark.parametrize("count", [0, 1])
def test_fewer_than_two_readings_have_no_mean(count: int) -> None:
    none = np.ones(count)
    means, covered = interval_means(
        none, y=none, joined=np.ones(0, dtype=np.bool_), edges=np.array([0.0, 2.0])
    )
    assert np.isnan(means).all()
    assert covered.tolist() == [0]


def test_a_mean_over_the_shortest_stretch_there_is_lies_between_the_readings() -> None:
    means, covered = means_of([0, 1], [1.5, 1.5], [0, 5e-324, 1])
    assert (means, covered[0]) == ([1.5, 1.5], 5e-324)


@given(spacings, st.data())
def test_means_times_lengths_are_the_integral(lengths: list[float], data: st.DataObject) -> None:
    time: FloatArray = np.cumsum([0.0, *lengths])
    count = len(lengths)
    y = np.array(data.draw(st.lists(st.floats(-1e3, 1e3), min_size=count + 1, max_size=count + 1)))
    joined = np.array(data.draw(st.lists(st.booleans(), min_size=count, max_size=count)))
    cuts = data.draw(st.lists(st.floats(0, float(time[-1])), max_size=10))
    edges = np.array(sorted([0.0, *cuts, float(time[-1])]))
    means, covered = interval_means(time, y=y, joined=joined, edges=edges)
    total = float(np.sum(np.where(covered > 0, means, 0) * covered))
    scale = 1e3 * float(time[-1])
    assert total == pytest.approx(integral(time, y=y, joined=joined), abs=1e-9 * scale)
    known = means[covered > 0]
    assert (known >= y.min() - 1e-6).all()
    assert (known <= y.max() + 1e-6).all()
