"""Efficiency at a fixed output power, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.efficiency import LoadState, nominal_load
from measurements.metrics.equal_power import EQUAL_POWERS_W, states_at_powers


def state(
    power_w: float, *, power: FloatArray, loss: FloatArray, full_w: float = 100.0
) -> LoadState | None:
    states = states_at_powers(
        [power_w],
        read_power=power,
        nominal=nominal_load(power, full_load_current=full_w),
        input_power=power + loss,
        output_power=power,
    )
    return states[power_w]


@pytest.mark.parametrize("watts", EQUAL_POWERS_W)
def test_a_straight_line_of_loss_is_met_exactly(watts: float) -> None:
    power = np.array([10.0, 25.0, 50.0, 75.0, 100.0])
    found = state(watts, power=power, loss=0.4 + 0.05 * power)
    assert found is not None
    loss = 0.4 + 0.05 * watts
    assert found.loss_w == pytest.approx(loss)
    assert found.efficiency_percent == pytest.approx(100 * watts / (watts + loss))
    assert found.interpolated is (watts != 100)


@pytest.mark.parametrize(
    ("power", "reached"),
    [
        ([10.0, 44.09], False),
        ([10.0, 44.1], True),
        ([10.0, 45.9], True),
        ([45.9, 90.0], True),
        ([45.91, 90.0], False),
        ([44.0], False),
        ([45.5], True),
    ],
)
def test_beyond_the_ends_a_point_counts_within_2_per_cent_only(
    power: list[float], reached: bool
) -> None:
    points = np.array(power)
    assert (state(45.0, power=points, loss=np.ones(points.size)) is not None) is reached


def test_points_at_the_power_are_averaged_and_their_scatter_is_kept() -> None:
    power, loss = np.array([45.0, 45.0, 90.0]), np.array([2.0, 4.0, 9.0])
    found = state(45.0, power=power, loss=loss)
    assert found is not None
    one, two = 100 * 45 / 47, 100 * 45 / 49
    assert found.efficiency_percent == pytest.approx((one + two) / 2)
    assert found.scatter_percent == pytest.approx((one - two) / 2)
    assert found.scatter_w == pytest.approx(1.0)


def test_which_points_count_hangs_on_the_readings_and_not_on_their_errors() -> None:
    """A shift by an uncertainty keeps a point at the power and a power in the range."""
    at_the_power = np.array([44.1, 100.0])
    at_the_end = np.array([10.0, 65.5])
    for read, watts, interpolated in ((at_the_power, 45.0, False), (at_the_end, 64.0, True)):
        shifted = np.outer([1.0, 0.97, 1.03], read)
        found = states_at_powers(
            [watts],
            read_power=read,
            nominal=nominal_load(read, full_load_current=100.0),
            input_power=shifted + 3.0,
            output_power=shifted,
        )[watts]
        assert found is not None
        assert found.interpolated is interpolated
        assert found.loss_w == pytest.approx([3.0, 3.0, 3.0])


def test_a_limiting_supply_whose_power_falls_does_not_break_it() -> None:
    found = states_at_powers(
        [65.0],
        read_power=np.array([20.0, 80.0, 60.0]),
        nominal=np.array([25.0, 100.0, 110.0]),
        input_power=np.array([23.0, 83.0, 63.0]),
        output_power=np.array([20.0, 80.0, 60.0]),
    )[65.0]
    assert found is not None
    assert found.loss_w == pytest.approx(3.0)


@given(
    loads=st.lists(st.integers(1, 110), min_size=1, max_size=12, unique=True),
    data=st.data(),
)
def test_any_physical_table_stays_between_its_losses(loads: list[int], data: st.DataObject) -> None:
    power = np.array(loads, dtype=np.float64)
    loss = np.array([data.draw(st.floats(0.01, 30.0)) for _ in loads])
    for watts in EQUAL_POWERS_W:
        found = state(watts, power=power, loss=loss)
        if found is None:
            assert not power.min() <= watts <= power.max()
            continue
        assert min(loss) - 1e-9 <= found.loss_w <= max(loss) + 1e-9
        assert 0 < found.efficiency_percent < 100


@given(scale=st.floats(0.2, 5.0), loss=st.floats(0.01, 20.0))
def test_a_larger_supply_of_the_same_loss_has_the_same_efficiency(
    scale: float, loss: float
) -> None:
    small = state(30.0, power=np.array([10.0, 40.0]), loss=np.full(2, loss), full_w=40.0)
    power = np.array([8.0, 40.0 * max(scale, 1.0)])
    large = state(30.0, power=power, loss=np.full(2, loss), full_w=power[1])
    assert small is not None
    assert large is not None
    assert large.efficiency_percent == pytest.approx(small.efficiency_percent, rel=1e-12)
