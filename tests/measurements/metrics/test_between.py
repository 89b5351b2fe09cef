"""The monotone curve between measured points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.between import mean_by_load, monotone_between


def test_the_values_of_one_load_are_averaged_in_rising_order_of_load() -> None:
    nominal = np.array([100.0, 25.0, 100.0, 50.0])
    means = mean_by_load(nominal, values=np.array([4.0, 1.0, 6.0, 2.0]))
    assert means.tolist() == [1.0, 2.0, 5.0]


def test_a_straight_line_is_reproduced() -> None:
    x = np.array([4.0, 1.0, 2.5, 9.0])
    assert monotone_between(6.0, x=x, y=3 - 0.5 * x) == pytest.approx(0.0, abs=1e-12)


def test_outside_the_points_the_nearest_one_counts() -> None:
    x, y = np.array([1.0, 2.0, 3.0]), np.array([5.0, 6.0, 9.0])
    assert monotone_between(0.5, x=x, y=y) == 5.0
    assert monotone_between(3.5, x=x, y=y) == 9.0


def test_one_abscissa_has_the_mean_of_its_ordinates() -> None:
    assert monotone_between(7.0, x=np.array([2.0, 2.0]), y=np.array([1.0, 3.0])) == 2.0


@given(
    points=st.lists(
        st.tuples(st.floats(0.1, 240.0), st.floats(0.0, 50.0)),
        min_size=1,
        max_size=12,
        unique_by=lambda point: round(point[0], 3),
    ),
    at=st.floats(0.0, 300.0),
)
def test_it_never_leaves_the_range_of_the_ordinates(
    points: list[tuple[float, float]], at: float
) -> None:
    x, y = (np.array(column) for column in zip(*points, strict=True))
    assert y.min() - 1e-9 <= monotone_between(at, x=x, y=y) <= y.max() + 1e-9
