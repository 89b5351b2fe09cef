"""The monotone curve between measured points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.between import mean_by_load, monotone_between


def test_the_values_of_one_load_are_averaged_in_rising_order_of_load() -> None:
    nominal = np.array([100.0, 25.0, 100.0, 50.0])
    means = mean_by_load(nominal, values=np.array([4.0, 1.0, 6.0, 2.0]))
    assert means.tolist() == [1.0, 2.0, 5.0]


def test_the_sets_of_readings_are_averaged_each_for_itself() -> None:
    nominal = np.array([100.0, 25.0, 100.0])
    means = mean_by_load(nominal, values=np.array([[4.0, 1.0, 6.0], [8.0, 2.0, 12.0]]))
    assert means.tolist() == [[1.0, 5.0], [2.0, 10.0]]


def between(at: float, *, x: FloatArray, y: FloatArray) -> float:
    """The value at one place of one curve."""
    (value,) = monotone_between(np.array([at]), x=x, y=y)
    return float(value)


def test_a_straight_line_is_reproduced() -> None:
    x = np.array([4.0, 1.0, 2.5, 9.0])
    assert between(6.0, x=x, y=3 - 0.5 * x) == pytest.approx(0.0, abs=1e-12)


def test_outside_the_points_the_nearest_one_counts() -> None:
    x, y = np.array([1.0, 2.0, 3.0]), np.array([5.0, 6.0, 9.0])
    assert between(0.5, x=x, y=y) == 5.0
    assert between(3.5, x=x, y=y) == 9.0


def test_one_abscissa_has_the_mean_of_its_ordinates() -> None:
    assert between(7.0, x=np.array([2.0, 2.0]), y=np.array([1.0, 3.0])) == 2.0


def test_equal_abscissas_of_one_curve_leave_the_other_curves_alone() -> None:
    """The second curve has three points where the first has two of one abscissa."""
    x = np.array([[1.0, 3.0, 3.0], [1.0, 2.0, 3.0]])
    y = np.array([[2.0, 5.0, 7.0], [2.0, 4.0, 6.0]])
    values = monotone_between(np.array([1.0, 2.0, 3.0]), x=x, y=y)
    assert values[0] == pytest.approx([2.0, 4.0, 6.0])
    assert values[1] == pytest.approx([2.0, 4.0, 6.0])


def test_every_curve_may_be_read_at_places_of_its_own() -> None:
    x = np.array([[0.0, 10.0], [0.0, 20.0]])
    values = monotone_between(np.array([[4.0], [4.0 * 2]]), x=x, y=2 * x)
    assert values.tolist() == [[8.0], [16.0]]


points = st.lists(
    st.tuples(st.floats(0.1, 240.0), st.floats(0.0, 50.0)),
    min_size=1,
    max_size=12,
    unique_by=lambda point: round(point[0], 3),
)


@given(points=points, at=st.floats(0.0, 300.0))
def test_it_never_leaves_the_range_of_the_ordinates(
    points: list[tuple[float, float]], at: float
) -> None:
    x, y = (np.array(column) for column in zip(*points, strict=True))
    assert y.min() - 1e-9 <= between(at, x=x, y=y) <= y.max() + 1e-9


@given(points=points, at=st.lists(st.floats(0.0, 300.0), min_size=1, max_size=5))
def test_rising_points_have_a_rising_curve(
    points: list[tuple[float, float]], at: list[float]
) -> None:
    x, y = (np.sort(column) for column in zip(*points, strict=True))
    values = monotone_between(np.sort(at), x=x, y=y)
    assert np.all(np.diff(values) >= -1e-9)


@given(points=points, at=st.floats(0.0, 300.0), factors=st.lists(st.floats(0.5, 2.0), max_size=4))
def test_curves_together_are_the_curves_one_by_one(
    points: list[tuple[float, float]], at: float, factors: list[float]
) -> None:
    x, y = (np.array(column) for column in zip(*points, strict=True))
    curves = np.array([1.0, *factors])[:, np.newaxis]
    together = monotone_between(np.array([at]), x=curves * x, y=y / curves)
    alone = [between(at, x=factor * x, y=y / factor) for factor in curves[:, 0]]
    assert together[:, 0].tolist() == alone
