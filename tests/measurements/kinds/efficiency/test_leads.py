"""How well the lead's resistance is known, in closed form."""

from __future__ import annotations

import math

import pytest

from tests.measurements.kinds.efficiency.tables import (
    POWER_METER,
    measured,
    points,
    setup,
    together,
    value,
)

GRID = (0.5, 1.25, 2.5, 3.75, 5.0)
RESISTANCE = 0.02


def uncertainty(metric: str, *, accuracy: float | None = 5.0, **condition: float) -> float:
    """Of a run whose only error is that of the lead."""
    given = setup(accuracies=(), lead_resistance_ohm=RESISTANCE, lead_accuracy_percent=accuracy)
    return value(measured(points(GRID), given), metric, **condition).standard_uncertainty


def of_lead(accuracy_percent: float = 5.0) -> float:
    # JCGM 100:2008, 4.3.7: a bound without a distribution is rectangular.
    return accuracy_percent / 100 * RESISTANCE / math.sqrt(3)


def test_a_point_moves_by_the_loss_in_the_lead() -> None:
    # η = 100 (V + I R) I / P_in, so u(η) = 100 I² u(R) / P_in.
    found = uncertainty("efficiency", load_percent=100.0)
    assert found == pytest.approx(100 * 5**2 * of_lead() / 102.5, rel=1e-9)


def test_the_average_moves_at_all_loads_at_once() -> None:
    by_hand = sum(100 * amps**2 * of_lead() / (20 * amps + 2.5) for amps in GRID[1:]) / 4
    assert uncertainty("average-efficiency") == pytest.approx(by_hand, rel=1e-9)


def test_loss_and_regulation_move_by_the_difference_of_the_currents() -> None:
    assert uncertainty("full-load-loss") == pytest.approx(25 * of_lead(), rel=1e-9)
    # (V + I R) at 0.5 A less that at 5 A, over 20 V.
    by_hand = 100 * 4.5 * of_lead() / 20
    assert uncertainty("load-regulation") == pytest.approx(by_hand, rel=1e-9)


def test_an_accuracy_that_nobody_gave_is_ten_per_cent() -> None:
    found = uncertainty("full-load-loss", accuracy=None)
    assert found == pytest.approx(25 * of_lead(10.0), rel=1e-9)


def test_a_perfectly_known_lead_adds_nothing() -> None:
    assert uncertainty("full-load-loss", accuracy=0.0) == 0


def test_without_a_lead_its_accuracy_does_not_matter() -> None:
    plain = measured(points(GRID), setup())
    assert measured(points(GRID), setup(lead_accuracy_percent=50.0)).values == plain.values


def test_it_is_independent_of_the_instruments() -> None:
    given = setup(
        accuracies=(POWER_METER,), lead_resistance_ohm=RESISTANCE, lead_accuracy_percent=5.0
    )
    both = value(measured(points(GRID), given), "full-load-loss").standard_uncertainty
    meter = 102.5 * 0.002 / math.sqrt(3)
    assert both == pytest.approx(math.hypot(meter, 25 * of_lead()), rel=1e-9)


def test_one_lead_serves_every_output() -> None:
    table = together(points([2.0], nominal=9.0), points([5.0]))
    given = setup((), accuracies=(), lead_resistance_ohm=RESISTANCE, lead_accuracy_percent=5.0)
    outcome = measured(table, given)
    for volts, amps in ((9.0, 2.0), (20.0, 5.0)):
        found = value(outcome, "full-load-loss", output_v=volts).standard_uncertainty
        assert found == pytest.approx(amps**2 * of_lead(), rel=1e-9)
