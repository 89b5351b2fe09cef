"""What the public contract promises of every value of an efficiency run."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.kinds.base import Condition
from measurements.kinds.efficiency import KIND
from tests.measurements.kinds.efficiency.tables import (
    AMMETER,
    POWER_METER,
    VOLTMETER,
    measured,
    metrics_of,
    points,
    setup,
    together,
    value,
)

GRID = (0.5, 1.25, 2.5, 3.75, 5.0)


def test_the_kind_declares_the_metrics_of_the_contract() -> None:
    declared = {item.key: (item.unit, item.better, item.ranked) for item in KIND.metrics}
    assert declared == {
        "average-efficiency": ("%", "higher", True),
        "adaptive-efficiency": ("%", "higher", True),
        "efficiency-at-load": ("%", "higher", True),
        "efficiency-at-power": ("%", "higher", True),
        "efficiency-at-10": ("%", "higher", True),
        "lowest-efficiency": ("%", "higher", True),
        "highest-efficiency": ("%", "higher", True),
        "full-load-loss": ("W", "lower", True),
        "efficiency": ("%", "higher", False),
        "output-deviation": ("%", "lower", True),
        "load-regulation": ("%", "lower", True),
    }


def test_the_kind_declares_the_columns_and_fields_of_the_contract() -> None:
    assert {column.name: column.required for column in KIND.columns} == {
        "output_nominal_v": True,
        "input_power_w": True,
        "output_voltage_v": True,
        "output_current_a": True,
        "load_percent": False,
        "power_factor": False,
    }
    assert [(item.name, item.required) for item in KIND.fields] == [
        ("lead_resistance_ohm", False),
        ("lead_accuracy_percent", False),
    ]


def test_constant_loss_gives_every_value_in_closed_form() -> None:
    outcome = measured(points(GRID), setup())
    by_hand = {load: 100 * load / (load + 2.5) for load in (10, 25, 50, 75, 100)}
    average = sum(by_hand[load] for load in (25, 50, 75, 100)) / 4
    assert value(outcome, "average-efficiency").value == pytest.approx(average)
    assert value(outcome, "efficiency-at-10").value == pytest.approx(by_hand[10])
    assert value(outcome, "lowest-efficiency").value == pytest.approx(by_hand[10])
    assert value(outcome, "highest-efficiency").value == pytest.approx(by_hand[100])
    assert value(outcome, "full-load-loss").value == pytest.approx(2.5)
    assert value(outcome, "output-deviation").value == 0
    assert value(outcome, "load-regulation").value == 0
    for load, expected in by_hand.items():
        found = value(outcome, "efficiency", load_percent=float(load))
        assert found.value == pytest.approx(expected)


@pytest.mark.parametrize(
    ("efficiency", "loss"),
    [(92, 8.70), (94, 6.38)],
)
def test_loss_at_100_w_is_what_the_trade_says(efficiency: float, loss: float) -> None:
    # Common practice: at 100 W output, 92 % against 94 % is 8.70 W against 6.38 W of heat.
    outcome = measured(points([5.0], losses=100 * (100 / efficiency - 1)), setup())
    assert value(outcome, "full-load-loss").value == pytest.approx(loss, abs=0.005)


def test_every_output_voltage_stands_for_itself() -> None:
    table = together(points(GRID), points([0.3, 0.75, 1.5, 2.25, 3.0], nominal=5.0, losses=1.0))
    outcome = measured(table, setup((("", 20.0, 5.0), ("", 5.0, 3.0))))
    low = sum(100 * load / (load + 1.0) for load in (3.75, 7.5, 11.25, 15.0)) / 4
    assert value(outcome, "average-efficiency", output_v=5.0).value == pytest.approx(low)
    assert value(outcome, "full-load-loss", output_v=5.0).value == pytest.approx(1.0)
    assert value(outcome, "full-load-loss").value == pytest.approx(2.5)
    # 10 % at 5 V is the lowest point of both: 1.5 W over 2.5 W.
    assert value(outcome, "lowest-efficiency").value == pytest.approx(60.0)
    assert value(outcome, "highest-efficiency").value == pytest.approx(100 * 100 / 102.5)


def test_a_row_without_load_has_no_efficiency_but_a_voltage() -> None:
    outcome = measured(points([0.0, *GRID], voltages=[20.4, 20, 20, 20, 20, 19.9]), setup())
    assert value(outcome, "lowest-efficiency").value == pytest.approx(100 * 10 / 12.5)
    assert value(outcome, "output-deviation").value == pytest.approx(2.0)
    assert value(outcome, "load-regulation").value == pytest.approx(2.5)
    loads = {item.condition.load_percent for item in outcome.values if item.metric == "efficiency"}
    assert loads == {10.0, 25.0, 50.0, 75.0, 100.0}


def test_off_grid_points_give_the_average_by_interpolated_loss() -> None:
    currents = np.array([0.5, 1.0, 2.0, 3.0, 4.0, 5.0])
    outcome = measured(points(currents.tolist(), losses=(0.4 + currents).tolist()), setup())
    by_hand = [100 * load / (load + 0.4 + 0.05 * load) for load in (25, 50, 75, 100)]
    assert value(outcome, "average-efficiency").value == pytest.approx(sum(by_hand) / 4)
    loads = {item.condition.load_percent for item in outcome.values if item.metric == "efficiency"}
    assert loads == {10.0, 20.0, 40.0, 60.0, 80.0, 100.0}


def test_a_point_two_points_off_counts_with_its_own_efficiency() -> None:
    outcome = measured(points([1.35, 2.5, 3.75, 5.0], losses=[1.0, 2, 3, 4]), setup())
    by_hand = [27 / 28, 50 / 52, 75 / 78, 100 / 104]
    assert value(outcome, "average-efficiency").value == pytest.approx(100 * sum(by_hand) / 4)
    assert value(outcome, "efficiency", load_percent=25.0).value == pytest.approx(100 * 27 / 28)


@pytest.mark.parametrize("missing", range(4))
def test_without_a_load_at_the_end_there_is_no_average(missing: int) -> None:
    currents = [1.25, 2.5, 3.75, 5.0]
    del currents[missing]
    outcome = measured(points(currents), setup())
    # A gap in the middle is interpolated, one at the end is not extrapolated.
    assert ("average-efficiency" in metrics_of(outcome)) is (missing in (1, 2))
    assert ("full-load-loss" in metrics_of(outcome)) is (missing != 3)
    assert "efficiency-at-10" not in metrics_of(outcome)


def test_the_load_label_of_the_tester_does_not_decide() -> None:
    plain = measured(points(GRID), setup())
    labelled = measured(points(GRID, load_percent=[10, 20, 50, 75, math.nan]), setup())
    assert labelled.values == plain.values


def test_repeated_points_are_averaged() -> None:
    table = points([1.25, 2.5, 3.75, 5.0, 5.0], losses=[2.5, 2.5, 2.5, 4.0, 6.0])
    outcome = measured(table, setup(accuracies=()))
    full = (100 / 104 + 100 / 106) / 2 * 100
    spread = abs(100 / 104 - 100 / 106) * 100
    found = value(outcome, "efficiency", load_percent=100.0)
    assert found.value == pytest.approx(full)
    # s/√n of two values is half their distance.
    assert found.standard_uncertainty == pytest.approx(spread / 2)
    average = value(outcome, "average-efficiency")
    assert average.value == pytest.approx(
        (full + sum(100 * load / (load + 2.5) for load in (25, 50, 75))) / 4
    )
    assert average.standard_uncertainty == pytest.approx(spread / 8)
    assert value(outcome, "full-load-loss").standard_uncertainty == pytest.approx(1.0)


class TestFullLoadCurrent:
    """100 % is the port's advertised current at that voltage, else the largest measured."""

    def loads(self, given_port: str | None, advertised: list[tuple[str, float, float]]) -> float:
        outcome = measured(points([1.5]), setup(advertised, ports=("C1", "C2"), port=given_port))
        (found,) = (item for item in outcome.values if item.metric == "efficiency")
        assert found.condition.load_percent is not None
        return found.condition.load_percent

    def test_it_is_the_own_current_of_the_port(self) -> None:
        advertised = [("C1", 20.0, 5.0), ("C2", 20.0, 3.0), ("", 20.0, 6.0)]
        assert self.loads("C1", advertised) == 30
        assert self.loads("C2", advertised) == 50

    def test_it_is_what_is_stated_for_any_port_when_the_port_has_none(self) -> None:
        assert self.loads("C2", [("C1", 20.0, 5.0), ("", 20.0, 3.0)]) == 50

    def test_it_is_the_highest_of_all_ports_without_a_port(self) -> None:
        assert self.loads(None, [("C1", 20.0, 5.0), ("C2", 20.0, 3.0)]) == 30

    def test_it_is_the_largest_measured_current_when_the_voltage_is_not_advertised(self) -> None:
        assert self.loads("C1", [("C1", 15.0, 3.0)]) == 100

    def test_it_is_the_largest_measured_current_when_only_another_port_has_it(self) -> None:
        assert self.loads("C2", [("C1", 20.0, 3.0)]) == 100


def test_the_lead_is_corrected_to_the_receptacle() -> None:
    # 5 A through 0.02 Ω: 19.9 V at the meter is 20 V at the receptacle.
    table = points([1.25, 2.5, 3.75, 5.0], voltages=[19.975, 19.95, 19.925, 19.9])
    outcome = measured(table, setup(lead_resistance_ohm=0.02))
    assert value(outcome, "output-deviation").value == pytest.approx(0, abs=1e-9)
    assert value(outcome, "load-regulation").value == pytest.approx(0, abs=1e-9)
    assert value(outcome, "full-load-loss").value == pytest.approx(19.9 * 5 + 2.5 - 100)


class TestUncertainty:
    """One instrument's error is the same at every point; instruments are independent."""

    def of(self, metric: str, *accuracies: object, **condition: float) -> float:
        chosen = tuple(item for item in (POWER_METER, VOLTMETER, AMMETER) if item in accuracies)
        outcome = measured(points(GRID), setup(accuracies=chosen))
        return value(outcome, metric, **condition).standard_uncertainty

    def test_a_gain_error_of_the_power_meter_does_not_average_out(self) -> None:
        # η ∝ 1/P_in, so a relative error of 0.2 %/√3 passes into the average in full.
        average = sum(100 * load / (load + 2.5) for load in (25, 50, 75, 100)) / 4
        assert self.of("average-efficiency", POWER_METER) == pytest.approx(
            average * 0.002 / math.sqrt(3), rel=1e-5
        )

    def test_a_fixed_error_of_the_voltmeter_moves_every_point_by_its_current(self) -> None:
        by_hand = (
            sum(
                100 * current * 0.01 / math.sqrt(3) / (20 * current + 2.5)
                for current in (1.25, 2.5, 3.75, 5.0)
            )
            / 4
        )
        assert self.of("average-efficiency", VOLTMETER) == pytest.approx(by_hand, rel=1e-9)

    def test_three_instruments_combine_in_quadrature(self) -> None:
        parts = [self.of("average-efficiency", item) for item in (POWER_METER, VOLTMETER, AMMETER)]
        assert self.of("average-efficiency", POWER_METER, VOLTMETER, AMMETER) == pytest.approx(
            math.hypot(*parts)
        )

    def test_one_point_follows_the_law_of_propagation(self) -> None:
        # JCGM 100:2008, 5.1.6: relative uncertainties of a product and quotient, in quadrature.
        relative = math.hypot(0.002 / math.sqrt(3), 0.01 / 20 / math.sqrt(3), 0.001 / math.sqrt(3))
        found = self.of("efficiency", POWER_METER, VOLTMETER, AMMETER, load_percent=50.0)
        assert found == pytest.approx(100 * 50 / 52.5 * relative, rel=1e-5)

    def test_a_loss_is_the_difference_of_two_powers(self) -> None:
        by_hand = math.hypot(102.5 * 0.002, 5 * 0.01, 100 * 0.001) / math.sqrt(3)
        assert self.of("full-load-loss", POWER_METER, VOLTMETER, AMMETER) == pytest.approx(by_hand)

    def test_a_fixed_error_of_the_voltmeter_cancels_in_the_regulation(self) -> None:
        assert self.of("load-regulation", VOLTMETER) == pytest.approx(0, abs=1e-12)

    def test_it_is_zero_without_instruments_and_repeats(self) -> None:
        outcome = measured(points(GRID), setup(accuracies=()))
        assert {item.standard_uncertainty for item in outcome.values} == {0.0}

    def test_it_passes_through_the_interpolation(self) -> None:
        currents = np.array([0.5, 1.0, 2.0, 3.0, 4.0, 5.0])
        table = points(currents.tolist(), losses=(0.4 + currents).tolist())
        outcome = measured(table, setup(accuracies=(POWER_METER,)))
        # P_in is a straight line in P_out here, so that a gain error of it stays a gain error.
        average = value(outcome, "average-efficiency")
        assert average.standard_uncertainty == pytest.approx(
            average.value * 0.002 / math.sqrt(3), rel=1e-5
        )

    def test_the_first_of_several_instruments_counts(self) -> None:
        better = POWER_METER.__class__("Other", "input_power", reading_percent=0.01, fixed=0.0)
        both = measured(points(GRID), setup(accuracies=(POWER_METER, better)))
        one = measured(points(GRID), setup(accuracies=(POWER_METER,)))
        assert both.values == one.values


@settings(max_examples=60, deadline=None)
@given(
    currents=st.lists(st.floats(0.05, 5.2), min_size=1, max_size=15),
    loss=st.floats(0.01, 20.0),
    nominal=st.sampled_from([5.0, 9.0, 15.0, 20.0, 28.0]),
    advertised=st.booleans(),
)
def test_any_physical_table_gives_efficiencies_between_0_and_100(
    currents: list[float], loss: float, nominal: float, advertised: bool
) -> None:
    stated = (("", nominal, 5.0),) if advertised else ()
    outcome = measured(points(currents, losses=loss, nominal=nominal), setup(stated))
    for item in outcome.values:
        assert math.isfinite(item.value)
        assert math.isfinite(item.standard_uncertainty)
        assert item.standard_uncertainty >= 0
        if "efficiency" in item.metric:
            assert 0 < item.value < 100
    lowest = value(outcome, "lowest-efficiency").value
    highest = value(outcome, "highest-efficiency").value
    for item in outcome.values:
        if item.metric == "efficiency":
            assert lowest - 1e-9 <= item.value <= highest + 1e-9


@settings(max_examples=30, deadline=None)
@given(order=st.permutations(range(5)))
def test_the_order_of_the_rows_does_not_matter(order: list[int]) -> None:
    losses = [0.5, 0.9, 1.7, 3.1, 5.0]
    plain = measured(points(GRID, losses=losses), setup())
    other = measured(
        points([GRID[index] for index in order], losses=[losses[index] for index in order]),
        setup(),
    )
    assert [item.condition for item in other.values] == [item.condition for item in plain.values]
    for one, two in zip(plain.values, other.values, strict=True):
        assert two.value == pytest.approx(one.value, rel=1e-12, abs=1e-12)


def test_values_have_no_condition_beyond_the_declared_one() -> None:
    outcome = measured(points(GRID), setup())
    for item in outcome.values:
        metric = next(metric for metric in KIND.metrics if metric.key == item.metric)
        assert set(item.condition.as_json()) == set(metric.condition)
        assert item.condition != Condition()
