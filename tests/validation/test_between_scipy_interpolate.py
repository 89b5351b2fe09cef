"""The monotone curve between points against a reference library, SciPy's `PchipInterpolator`."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from measurements.metrics import FloatArray
from measurements.metrics.between import monotone_between


def reference(at: FloatArray, *, x: FloatArray, y: FloatArray) -> FloatArray:
    return np.asarray(PchipInterpolator(x, y)(np.clip(at, x[0], x[-1])))


@pytest.mark.parametrize("count", [2, 3, 4, 5, 8, 14])
@pytest.mark.parametrize("seed", range(5))
def test_curves_of_any_shape_are_those_of_the_reference(seed: int, count: int) -> None:
    """Rising, falling, turning and flat stretches at odd distances, nine curves at once."""
    random = np.random.default_rng(seed)
    x = np.cumsum(random.uniform(0.01, 30.0, (9, count)), axis=-1)
    # Whole watts, so that neighbours are often equal and slopes zero.
    y = random.integers(0, 4, (9, count)).astype(np.float64)
    at = np.linspace(-5.0, 500.0, 301)
    found = monotone_between(at, x=x, y=y)
    for curve in range(9):
        expected = reference(at, x=x[curve], y=y[curve])
        assert found[curve] == pytest.approx(expected, rel=1e-12, abs=1e-12)


def test_losses_of_a_supply_are_those_of_the_reference() -> None:
    power = np.array([2.0, 10.0, 25.3, 50.1, 74.8, 100.2])
    loss = 0.45 + 0.03 * power + 4e-4 * power**2
    at = np.array([2.0, 15.0, 30.0, 45.0, 65.0, 100.0])
    expected = reference(at, x=power, y=loss)
    assert monotone_between(at, x=power, y=loss) == pytest.approx(expected, rel=1e-13)


def test_a_slope_next_to_nothing_is_that_of_the_reference() -> None:
    x, y = np.array([1.0, 2.0, 3.0, 4.0]), np.array([0.0, 5e-324, 1.0, 1.0 + 2e-16])
    at = np.linspace(1.0, 4.0, 31)
    with np.errstate(over="ignore"):
        expected = reference(at, x=x, y=y)
    assert monotone_between(at, x=x, y=y) == pytest.approx(expected, rel=1e-12, abs=1e-15)
