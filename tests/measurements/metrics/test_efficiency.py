"""Efficiency at and between loads, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.efficiency import (
    AVERAGED_LOADS,
    LoadState,
    average_efficiency,
    efficiency,
    nominal_load,
    states_at_loads,
)
from measurements.metrics.output_voltage import (
    corrected_voltage,
    load_regulation,
    output_deviation,
)


def state(
    load: float,
    *,
    current: FloatArray,
    voltage: FloatArray,
    loss: FloatArray,
    full: float,
) -> LoadState | None:
    states = states_at_loads(
        [load],
        nominal=nominal_load(current, full_load_current=full),
        full_load_current=full,
        input_power=voltage * current + loss,
        output_voltage=voltage,
        output_current=current,
    )
    return states[load]


def test_efficiency_is_output_over_input() -> None:
    assert efficiency(np.array([50.0, 10.0]), output_power=np.array([45.0, 0.0])) == pytest.approx(
        [90.0, 0.0]
    )


def test_the_lead_is_added_to_the_voltage_at_the_meter() -> None:
    # Common practice: 5 A through 0.1 Ω is 0.5 V.
    assert corrected_voltage(
        np.array([19.5]), current=np.array([5.0]), lead_resistance=0.1
    ) == pytest.approx([20.0])


@pytest.mark.parametrize(
    ("percent", "expected"),
    [
        (0.0, 0),
        (0.4, 0),
        (7.9, 8),
        (8.0, 10),
        (12.0, 10),
        (12.1, 12),
        (22.9, 23),
        (23.0, 25),
        (27.0, 25),
        (27.1, 27),
        (48.0, 50),
        (73.0, 75),
        (77.01, 77),
        (98.0, 100),
        (102.0, 100),
        (102.1, 102),
        (150.0, 150),
    ],
)
@pytest.mark.parametrize("full", [0.5, 3.0, 3.25, 5.0])
def test_a_point_counts_for_a_load_within_two_points(
    percent: float, expected: float, full: float
) -> None:
    assert nominal_load(np.array([percent / 100 * full]), full_load_current=full)[0] == expected


def test_constant_loss_gives_the_exact_average() -> None:
    current = np.array([1.25, 2.5, 3.75, 5.0])
    states = [
        state(load, current=current, voltage=np.full(4, 20.0), loss=np.full(4, 2.5), full=5.0)
        for load in AVERAGED_LOADS
    ]
    reached = [item for item in states if item is not None]
    by_hand = [25 / 27.5, 50 / 52.5, 75 / 77.5, 100 / 102.5]
    assert average_efficiency(reached) == pytest.approx(100 * sum(by_hand) / 4)
    assert [item.loss_w for item in reached] == pytest.approx([2.5] * 4)
    assert not any(item.interpolated for item in reached)


@pytest.mark.parametrize("load", [25.0, 50.0, 75.0])
def test_a_straight_line_of_loss_is_interpolated_exactly(load: float) -> None:
    """PCHIP reproduces straight lines, so that off-grid points give the on-grid answer."""
    current = np.array([0.5, 1.0, 2.0, 3.0, 4.0, 5.0])
    voltage = np.full(6, 20.0)
    found = state(load, current=current, voltage=voltage, loss=0.4 + 0.05 * 20 * current, full=5.0)
    power = load
    assert found is not None
    assert found.interpolated
    assert found.loss_w == pytest.approx(0.4 + 0.05 * power)
    assert found.efficiency_percent == pytest.approx(100 * power / (power + 0.4 + 0.05 * power))


def test_interpolation_takes_the_voltage_at_the_load() -> None:
    """A voltage that falls in a straight line with current is exact as well."""
    current = np.array([1.0, 2.0, 3.0, 4.0])
    voltage = 20.0 - 0.1 * current
    found = state(50.0, current=current, voltage=voltage, loss=np.full(4, 3.0), full=5.0)
    assert found is not None
    power = 2.5 * 19.75
    assert found.efficiency_percent == pytest.approx(100 * power / (power + 3.0))


def test_bent_loss_is_interpolated_as_the_published_slopes_say() -> None:
    """Three points by hand, slopes after Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984).

    The formulas are from memory: the inner slope is the weighted harmonic mean of the secants, the
    end slope the three-point difference.
    """
    first, second = 10.0, 20.0  # spacing of P = 0, 10, 30 W
    secants = (0.1, 0.15)  # of losses 1, 2, 5 W
    weights = (2 * second + first, second + 2 * first)
    inner = sum(weights) / (weights[0] / secants[0] + weights[1] / secants[1])
    end = ((2 * second + first) * secants[1] - second * secants[0]) / (first + second)
    by_hand = (2 + 5) / 2 + second / 8 * (inner - end)

    found = state(
        50.0,
        current=np.array([0.0, 1.0, 3.0]),
        voltage=np.full(3, 10.0),
        loss=np.array([1.0, 2.0, 5.0]),
        full=4.0,
    )
    assert found is not None
    assert found.loss_w == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize(
    ("current", "missing"),
    [
        ([1.25, 2.5, 3.75], [10.0, 100.0]),
        ([1.5, 2.5, 5.0], [10.0, 25.0]),
        ([5.0], [10.0, 25.0, 50.0, 75.0]),
        ([0.0, 4.89], [100.0]),
    ],
)
def test_a_load_outside_the_measured_range_is_missing(
    current: list[float], missing: list[float]
) -> None:
    points = np.array(current)
    absent = [
        load
        for load in (10.0, *AVERAGED_LOADS)
        if state(
            load,
            current=points,
            voltage=np.full(len(points), 20.0),
            loss=np.ones(len(points)),
            full=5.0,
        )
        is None
    ]
    assert absent == missing


def test_repeated_points_are_averaged_and_their_scatter_is_kept() -> None:
    current = np.array([5.0, 5.0, 5.0])
    loss = np.array([4.0, 5.0, 6.0])
    found = state(100.0, current=current, voltage=np.full(3, 20.0), loss=loss, full=5.0)
    assert found is not None
    efficiencies = 100 * 100 / (100 + loss)
    assert found.efficiency_percent == pytest.approx(efficiencies.mean())
    assert found.loss_w == pytest.approx(5.0)
    assert found.scatter_w == pytest.approx(1 / np.sqrt(3))
    assert found.scatter_percent == pytest.approx(efficiencies.std(ddof=1) / np.sqrt(3))


def test_points_of_one_load_do_not_break_the_interpolation() -> None:
    current = np.array([1.0, 1.0, 1.001, 4.0, 4.0])
    found = state(50.0, current=current, voltage=np.full(5, 20.0), loss=np.full(5, 3.0), full=5.0)
    assert found is not None
    assert found.loss_w == pytest.approx(3.0)


def test_equal_powers_at_different_currents_do_not_break_the_interpolation() -> None:
    current = np.array([1.0, 4.0, 5.0])
    voltage = np.array([20.0, 20.0, 16.0])
    found = state(25.0, current=current, voltage=voltage, loss=np.full(3, 3.0), full=5.0)
    assert found is not None
    assert found.loss_w == pytest.approx(3.0)


def test_one_power_at_every_current_still_has_a_loss() -> None:
    current = np.array([4.0, 5.0])
    found = state(
        75.0, current=current, voltage=np.array([20.0, 16.0]), loss=np.array([2.0, 4.0]), full=6.0
    )
    assert found is not None
    assert found.loss_w == pytest.approx(3.0)


def test_deviation_is_the_largest_in_either_direction() -> None:
    voltage = np.array([20.1, 19.6, 20.2])
    assert output_deviation(voltage, nominal_voltage=20.0) == pytest.approx(2.0)


def test_regulation_is_negative_when_the_voltage_rises_with_load() -> None:
    nominal = np.array([10.0, 50.0, 100.0])
    assert load_regulation(
        np.array([5.0, 5.2, 5.1]), nominal=nominal, nominal_voltage=5.0
    ) == pytest.approx(-2.0)


def test_regulation_averages_the_points_of_the_end_loads() -> None:
    nominal = np.array([0.0, 0.0, 100.0, 100.0])
    voltage = np.array([20.2, 20.4, 19.8, 20.0])
    assert load_regulation(voltage, nominal=nominal, nominal_voltage=20.0) == pytest.approx(2.0)


def test_regulation_of_one_load_is_nothing() -> None:
    assert (
        load_regulation(np.array([20.0, 20.1]), nominal=np.full(2, 100.0), nominal_voltage=20.0)
        == 0
    )


losses = st.floats(0.0, 30.0)
loads = st.lists(st.floats(0.0, 110.0), min_size=2, max_size=12, unique=True)


@settings(max_examples=150, deadline=None)
@given(loads=loads, base=losses, data=st.data())
def test_any_physical_table_has_efficiencies_between_0_and_100(
    loads: list[float], base: float, data: st.DataObject
) -> None:
    current = np.sort(np.array(loads)) / 100 * 5.0
    loss = 0.01 + base + np.array([data.draw(losses) for _ in loads])
    voltage = np.array([data.draw(st.floats(19.0, 21.0)) for _ in loads])
    for load in (10.0, *AVERAGED_LOADS):
        found = state(load, current=current, voltage=voltage, loss=loss, full=5.0)
        if found is not None:
            assert 0 < found.efficiency_percent < 100
            # PCHIP keeps between its points: no bump above or dip below the measured losses.
            assert min(loss) - 1e-9 <= found.loss_w <= max(loss) + 1e-9


@settings(max_examples=60, deadline=None)
@given(scale=st.floats(0.1, 10.0), shuffle=st.permutations(range(5)))
def test_scaling_all_powers_and_shuffling_the_rows_keeps_the_efficiency(
    scale: float, shuffle: list[int]
) -> None:
    current = np.array([0.4, 1.4, 2.2, 3.6, 5.0])
    voltage = np.array([20.2, 20.1, 20.0, 19.9, 19.8])
    loss = np.array([0.5, 1.0, 1.8, 4.0, 7.0])
    for load in AVERAGED_LOADS:
        plain = state(load, current=current, voltage=voltage, loss=loss, full=5.0)
        other = state(
            load,
            current=current[shuffle],
            voltage=scale * voltage[shuffle],
            loss=scale * loss[shuffle],
            full=5.0,
        )
        assert plain is not None
        assert other is not None
        assert other.efficiency_percent == pytest.approx(plain.efficiency_percent, rel=1e-9)
        assert other.loss_w == pytest.approx(scale * plain.loss_w, rel=1e-9)
