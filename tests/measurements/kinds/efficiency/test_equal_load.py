"""Efficiency at fixed shares of full load, as values of a run."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.kinds.base import Outcome
from measurements.metrics.efficiency import NAMED_LOADS
from tests.measurements.kinds.efficiency.tables import (
    POWER_METER,
    measured,
    points,
    setup,
    together,
    value,
)

GRID = (0.5, 1.25, 2.5, 3.75, 5.0)


def loads_of(outcome: Outcome, *, output_v: float = 20.0) -> list[str]:
    return [
        item.condition.load
        for item in outcome.values
        if item.metric == "efficiency-at-load" and item.condition.output_v == output_v
    ]


def test_constant_loss_gives_every_load_in_closed_form() -> None:
    outcome = measured(points(GRID), setup())
    assert loads_of(outcome) == ["10 %", "25 %", "50 %", "75 %", "100 %"]
    for load in (10, 25, 50, 75, 100):
        found = value(outcome, "efficiency-at-load", load=f"{load} %")
        assert found.value == pytest.approx(100 * load / (load + 2.5))


def test_a_load_between_points_is_interpolated_over_loss_and_none_lies_outside() -> None:
    # Loss is a straight line in power, which the curve passes through exactly.
    currents = np.array([1.25, 2.0, 4.0])
    outcome = measured(points(currents.tolist(), losses=(1 + currents).tolist()), setup())
    assert loads_of(outcome) == ["25 %", "50 %", "75 %"]
    for load, current in (("25 %", 1.25), ("50 %", 2.5), ("75 %", 3.75)):
        found = value(outcome, "efficiency-at-load", load=load)
        assert found.value == pytest.approx(100 * 20 * current / (20 * current + 1 + current))


@pytest.mark.parametrize(("current", "counts"), [(2.6, True), (2.61, False)])
def test_a_point_counts_within_two_points_of_the_load(current: float, counts: bool) -> None:
    # 2.6 A of 5 A is 52 %: at its own power it loses what no other point does.
    outcome = measured(points([0.5, current, 5.0], losses=[2.5, 9.0, 2.5]), setup())
    own = 100 * 20 * current / (20 * current + 9)
    found = value(outcome, "efficiency-at-load", load="50 %").value
    assert (found == pytest.approx(own, rel=1e-9)) is counts


def test_repeated_points_are_averaged_and_their_scatter_is_carried() -> None:
    outcome = measured(points([2.5, 2.5, 5.0], losses=[2.0, 3.0, 2.5]), setup(accuracies=()))
    one, other = 100 * 50 / 52, 100 * 50 / 53
    found = value(outcome, "efficiency-at-load", load="50 %")
    assert found.value == pytest.approx((one + other) / 2)
    # Of two values the standard deviation is |a − b|/√2, of their mean |a − b|/2.
    assert found.standard_uncertainty == pytest.approx(abs(one - other) / 2)


def test_ratings_are_compared_at_the_same_share() -> None:
    """The same relative loss is the same efficiency, whatever 100 % is."""
    small = measured(points([0.25, 0.5, 1.0], losses=[1, 1, 1]), setup((("", 20.0, 1.0),)))
    large = measured(points([1.25, 2.5, 5.0], losses=[5, 5, 5]), setup())
    for load in ("25 %", "50 %", "100 %"):
        assert value(small, "efficiency-at-load", load=load).value == pytest.approx(
            value(large, "efficiency-at-load", load=load).value
        )


def test_every_voltage_has_its_own() -> None:
    table = together(points([0.75, 3.0], nominal=15.0, losses=1.0), points(GRID))
    outcome = measured(table, setup((("", 15.0, 3.0), ("", 20.0, 5.0))))
    assert loads_of(outcome, output_v=15.0) == ["25 %", "50 %", "75 %", "100 %"]
    found = value(outcome, "efficiency-at-load", output_v=15.0, load="100 %")
    assert found.value == pytest.approx(100 * 45 / 46)


def test_a_gain_error_of_the_power_meter_passes_into_it() -> None:
    outcome = measured(points(GRID), setup(accuracies=(POWER_METER,)))
    found = value(outcome, "efficiency-at-load", load="75 %")
    assert found.standard_uncertainty == pytest.approx(found.value * 0.002 / math.sqrt(3), rel=1e-5)


@given(losses=st.lists(st.floats(0.5, 20.0), min_size=5, max_size=5))
def test_the_average_is_that_of_the_four_loads_and_ten_per_cent_is_the_same_value(
    losses: list[float],
) -> None:
    outcome = measured(points(GRID, losses=losses), setup())
    at = {
        load: value(outcome, "efficiency-at-load", load=f"{load:g} %").value for load in NAMED_LOADS
    }
    average = value(outcome, "average-efficiency").value
    assert average == pytest.approx(sum(at[load] for load in (25, 50, 75, 100)) / 4)
    assert value(outcome, "efficiency-at-10").value == at[10]
