"""Energy of a log and area between curves against a reference library, SciPy's `integrate`.

`trapezoid` and `cumulative_trapezoid` on the same readings, `quad` on the continuous function
with its own error estimate; for curves NumPy's `trapezoid` over a very dense grid.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate

from measurements.metrics import FloatArray
from measurements.metrics.curves import compare_curves
from measurements.metrics.integration import integral, running_integral


def uneven(seed: int, *, count: int = 4000) -> tuple[FloatArray, FloatArray]:
    """Readings at odd moments of a power that wanders."""
    random = np.random.default_rng(seed)
    time = np.cumsum(random.uniform(0.2, 3.0, count))
    return time, 40 + 10 * np.sin(time / 500) + random.normal(0, 2, count)


@pytest.mark.parametrize("seed", range(5))
def test_the_integral_is_that_of_the_reference(seed: int) -> None:
    time, power = uneven(seed)
    joined = np.ones(time.size - 1, dtype=bool)
    expected = integrate.trapezoid(power, time)
    assert integral(time, y=power, joined=joined) == pytest.approx(expected, rel=1e-12)
    running = integrate.cumulative_trapezoid(power, time, initial=0)
    assert running_integral(time, y=power, joined=joined) == pytest.approx(running, rel=1e-12)


def test_a_gap_leaves_the_sum_of_both_sides() -> None:
    time, power = uneven(7)
    time[2000:] += 900
    joined = np.diff(time) < 100
    expected = integrate.trapezoid(power[:2000], time[:2000]) + integrate.trapezoid(
        power[2000:], time[2000:]
    )
    assert integral(time, y=power, joined=joined) == pytest.approx(expected, rel=1e-12)


def test_a_smooth_power_approaches_its_exact_energy() -> None:
    def power(t: float) -> float:
        return float(60 * np.exp(-t / 900) + 5 * np.cos(t / 300))

    exact, error = integrate.quad(power, 0, 3600, limit=200)
    time = np.linspace(0, 3600, 3601)
    readings = np.array([power(t) for t in time])
    found = integral(time, y=readings, joined=np.ones(3600, dtype=bool))
    # Trapezoid at 1 s: h²/12 · (f'(b) − f'(a)), about 0.005 J here.
    assert abs(found - exact) < 0.01 + error


@pytest.mark.parametrize("seed", range(5))
def test_the_area_between_curves_is_that_of_a_dense_grid(seed: int) -> None:
    random = np.random.default_rng(seed)
    x_a, x_b = np.sort(random.uniform(0, 100, 60)), np.sort(random.uniform(10, 120, 45))
    y_a, y_b = random.normal(30, 5, 60), random.normal(30, 5, 45)
    found = compare_curves(x_a, y_a, x_b, y_b)
    assert found is not None
    grid = np.linspace(found.start, found.end, 2_000_001)
    difference = np.interp(grid, x_a, y_a) - np.interp(grid, x_b, y_b)
    assert found.area == pytest.approx(np.trapezoid(np.abs(difference), grid), rel=1e-5)
    length = found.end - found.start
    assert found.mean == pytest.approx(np.trapezoid(difference, grid) / length, abs=1e-4)
    assert found.largest == pytest.approx(np.abs(difference).max(), abs=0.01)
    assert found.largest >= np.abs(difference).max() - 1e-9
