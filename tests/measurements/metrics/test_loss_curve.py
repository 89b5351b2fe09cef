"""Interpolated efficiency against the textbook model of losses.

Textbooks on electrical machines split the losses of a transformer or converter into a constant
part, one in proportion to the load and one to its square: P_loss = a + b P + c P². The efficiency
is highest where the constant loss equals the square one, P = √(a/c), and is 1 / (1 + b + 2 √(a c))
there. From memory, without a page of a given book; both follow from setting dη/dP to zero.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.efficiency import nominal_load
from measurements.metrics.equal_power import states_at_powers

CONSTANT_W, LINEAR, SQUARE_PER_W = 0.45, 0.03, 4.0e-4


def efficiency_at(
    watts: float,
    *,
    points: int,
    constant: float = CONSTANT_W,
    square: float = SQUARE_PER_W,
) -> float:
    # Offset, so that no measured point lies at the power that is asked for.
    power = np.linspace(2.0, 101.0, points)
    loss = constant + LINEAR * power + square * power**2
    found = states_at_powers(
        [watts],
        read_power=power,
        nominal=nominal_load(power, full_load_current=100.0),
        input_power=power + loss,
        output_power=power,
    )[watts]
    assert found is not None
    return float(found.efficiency_percent)


def exact(watts: float) -> float:
    return 100 * watts / (watts + CONSTANT_W + LINEAR * watts + SQUARE_PER_W * watts**2)


@pytest.mark.parametrize("watts", [15.0, 30.0, 45.0, 65.0])
def test_five_points_are_enough_for_a_tenth_of_a_per_cent(watts: float) -> None:
    assert efficiency_at(watts, points=5) == pytest.approx(exact(watts), abs=0.1)


@pytest.mark.parametrize("watts", [15.0, 30.0, 45.0, 65.0])
def test_more_points_come_closer(watts: float) -> None:
    assert efficiency_at(watts, points=14) == pytest.approx(exact(watts), abs=0.02)


def test_the_highest_efficiency_lies_where_both_losses_are_equal() -> None:
    best = math.sqrt(CONSTANT_W / SQUARE_PER_W)  # 33.5 W
    watts = np.linspace(20.0, 60.0, 801)
    curve = [efficiency_at(float(at), points=14) for at in watts]
    top = 100 / (1 + LINEAR + 2 * math.sqrt(CONSTANT_W * SQUARE_PER_W))
    assert max(curve) == pytest.approx(top, abs=0.02)
    assert watts[int(np.argmax(curve))] == pytest.approx(best, abs=4.0)


@given(constant=st.floats(0.05, 2.0), square=st.floats(1e-5, 1e-3))
def test_no_efficiency_is_above_the_highest_of_the_model(constant: float, square: float) -> None:
    top = 100 / (1 + LINEAR + 2 * math.sqrt(constant * square))
    for watts in (15.0, 30.0, 45.0, 65.0):
        found = efficiency_at(watts, points=14, constant=constant, square=square)
        assert found <= top + 0.1
