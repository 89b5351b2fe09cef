"""Efficiency at fixed output powers, as values of a run."""

from __future__ import annotations

import math

import numpy as np
import pytest

from measurements.kinds.base import Outcome
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
        if item.metric == "efficiency-at-power" and item.condition.output_v == output_v
    ]


def test_constant_loss_gives_every_power_in_closed_form() -> None:
    outcome = measured(points(GRID), setup())
    assert loads_of(outcome) == ["15 W", "30 W", "45 W", "65 W", "100 W"]
    for watts in (15, 30, 45, 65, 100):
        found = value(outcome, "efficiency-at-power", load=f"{watts} W")
        assert found.value == pytest.approx(100 * watts / (watts + 2.5))


def test_only_powers_in_the_measured_range_have_a_value() -> None:
    outcome = measured(points([1.25, 2.5, 3.25]), setup())
    assert loads_of(outcome) == ["30 W", "45 W", "65 W"]


def test_a_sagging_output_still_counts_for_its_power() -> None:
    # 19.7 V · 5 A is 98.5 W, within 2 % of 100 W.
    outcome = measured(points(GRID, voltages=[20, 20, 20, 20, 19.7]), setup())
    found = value(outcome, "efficiency-at-power", load="100 W")
    assert found.value == pytest.approx(100 * 98.5 / 101)
    short = measured(points(GRID, voltages=[20, 20, 20, 20, 19.5]), setup())
    assert "100 W" not in loads_of(short)


def test_every_voltage_has_its_own() -> None:
    table = together(points([0.75, 3.0], nominal=15.0, losses=1.0), points(GRID))
    outcome = measured(table, setup((("", 15.0, 3.0), ("", 20.0, 5.0))))
    assert loads_of(outcome, output_v=15.0) == ["15 W", "30 W", "45 W"]
    found = value(outcome, "efficiency-at-power", output_v=15.0, load="45 W")
    assert found.value == pytest.approx(100 * 45 / 46)
    assert value(outcome, "efficiency-at-power", load="45 W").value == pytest.approx(
        100 * 45 / 47.5
    )


def test_two_ratings_meet_at_the_same_watts() -> None:
    """Equal loss at equal power is equal efficiency, whatever 100 % is."""
    small = measured(points([0.9, 1.8, 2.25], losses=2.0), setup((("", 20.0, 2.25),)))
    large = measured(points([1.0, 2.0, 3.0, 5.0], losses=2.0), setup())
    assert value(small, "efficiency-at-power", load="30 W").value == pytest.approx(
        value(large, "efficiency-at-power", load="30 W").value
    )


def test_a_gain_error_of_the_power_meter_passes_into_it() -> None:
    currents = np.array(GRID)
    table = points(GRID, losses=(0.4 + currents).tolist())
    outcome = measured(table, setup(accuracies=(POWER_METER,)))
    # P_in is a straight line in P_out, so that a gain error of it stays one between the points.
    found = value(outcome, "efficiency-at-power", load="45 W")
    assert found.standard_uncertainty == pytest.approx(found.value * 0.002 / math.sqrt(3), rel=1e-5)


def test_repeats_at_the_power_add_their_scatter() -> None:
    table = points([2.25, 2.25, 5.0], losses=[2.0, 3.0, 4.0])
    outcome = measured(table, setup(accuracies=()))
    found = value(outcome, "efficiency-at-power", load="45 W")
    one, two = 100 * 45 / 47, 100 * 45 / 48
    assert found.value == pytest.approx((one + two) / 2)
    # s/√n of two values is half their distance.
    assert found.standard_uncertainty == pytest.approx((one - two) / 2)
