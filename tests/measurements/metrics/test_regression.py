from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.regression import straight_line

coefficients = st.floats(-100, 100)


@given(coefficients, coefficients)
def test_points_on_a_line_give_that_line_without_error(slope: float, intercept: float) -> None:
    x = np.linspace(0.0, 5.0, 11)
    line = straight_line(x, y=intercept + slope * x)
    assert line.slope == pytest.approx(slope, abs=1e-9)
    assert line.intercept == pytest.approx(intercept, abs=1e-9)
    assert line.residual_deviation == pytest.approx(0.0, abs=1e-9)


@given(st.lists(st.floats(-10, 10), min_size=3, max_size=20), st.floats(-1e6, 1e6))
def test_the_slope_does_not_depend_on_where_x_starts(values: list[float], start: float) -> None:
    x = np.arange(len(values), dtype=np.float64)
    y = np.array(values)
    assert straight_line(x + start, y=y).slope == pytest.approx(
        straight_line(x, y=y).slope, abs=1e-7
    )


@pytest.mark.parametrize(
    ("x", "y", "reason"),
    [
        ([0.0, 1.0], [0.0, 1.0], "three or more points"),
        ([0.0, 1.0, 2.0], [0.0, 1.0], "as many x as y"),
        ([0.0, 1.0, 2.0], [0.0, np.nan, 1.0], "finite"),
        ([0.0, np.inf, 2.0], [0.0, 1.0, 1.0], "finite"),
        ([3.0, 3.0, 3.0], [0.0, 1.0, 2.0], "same x"),
    ],
)
def test_what_gives_no_line_is_refused_with_the_reason(
    x: list[float], y: list[float], reason: str
) -> None:
    with pytest.raises(ValueError, match=reason):
        straight_line(np.array(x), y=np.array(y))
