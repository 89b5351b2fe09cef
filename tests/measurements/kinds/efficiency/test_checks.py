"""Tables that must not be computed, and what the person is told."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds.base import SupplyClass
from measurements.kinds.efficiency import KIND
from tests.measurements.kinds.efficiency.tables import changed, points, setup, together

GRID = (0.5, 1.25, 2.5, 3.75, 5.0)


def test_a_sound_table_has_no_problems() -> None:
    assert KIND.check(points([0.0, *GRID]), setup()) == ()


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("input_power_w", -3.0, "sign"),
        ("input_power_w", 0.0, "not possible"),
        ("input_power_w", math.nan, "no finite number"),
        ("input_power_w", math.inf, "no finite number"),
        ("input_power_w", 40.0, "over 100 %"),
        ("output_current_a", -0.5, "negative"),
        ("output_current_a", math.nan, "no finite number"),
        ("output_voltage_v", math.nan, "no finite number"),
        ("output_voltage_v", 5.0, "25 %"),
        ("output_voltage_v", 20_000.0, "25 %"),
        ("output_voltage_v", -20.0, "25 %"),
        ("output_nominal_v", 0.0, "not possible"),
        ("output_nominal_v", -20.0, "not possible"),
        ("output_nominal_v", 0.0001, "not possible"),
        ("output_nominal_v", math.nan, "no finite number"),
    ],
)
def test_an_impossible_cell_is_named_by_row_and_column(
    column: str, value: float, says: str
) -> None:
    problems = KIND.check(changed(points(GRID), column, index=2, value=value), setup())
    assert [(problem.row, problem.column) for problem in problems][:1] == [(4, column)]
    assert says in problems[0].detail.lower()


@pytest.mark.parametrize("share", [0.76, 1.24])
def test_a_voltage_within_a_quarter_of_nominal_is_let_through(share: float) -> None:
    assert KIND.check(points(GRID, voltages=20 * share), setup()) == ()


@pytest.mark.parametrize("share", [0.74, 1.26])
def test_a_voltage_further_from_nominal_is_named(share: float) -> None:
    problems = KIND.check(points(GRID, voltages=20 * share), setup())
    assert [problem.row for problem in problems] == [2, 3, 4, 5, 6]


def test_every_bad_cell_is_named() -> None:
    table = changed(points(GRID), "input_power_w", index=0, value=-1)
    table = changed(table, "output_current_a", index=3, value=-1)
    assert {(problem.row, problem.column) for problem in KIND.check(table, setup())} == {
        (2, "input_power_w"),
        (5, "output_current_a"),
    }


def test_the_lead_correction_counts_for_the_energy_balance() -> None:
    table = points([5.0], losses=0.1)
    assert KIND.check(table, setup()) == ()
    (problem,) = KIND.check(table, setup(lead_resistance_ohm=0.01))
    assert problem.row == 2
    assert "lead resistance" in problem.detail


@pytest.mark.parametrize("resistance", [-0.1, math.nan, math.inf])
def test_an_impossible_lead_resistance_is_named(resistance: float) -> None:
    (problem,) = KIND.check(points(GRID), setup(lead_resistance_ohm=resistance))
    assert problem.column == "lead_resistance_ohm"


@pytest.mark.parametrize("accuracy", [-1.0, 100.5, math.nan, math.inf])
def test_an_impossible_accuracy_of_the_lead_is_named(accuracy: float) -> None:
    given = setup(lead_resistance_ohm=0.01, lead_accuracy_percent=accuracy)
    (problem,) = KIND.check(points(GRID), given)
    assert problem.column == "lead_accuracy_percent"
    assert "0 to 100" in problem.detail


def test_an_output_without_load_is_named() -> None:
    table = together(points(GRID), points([0.0, 0.001], nominal=5.0, losses=0.1))
    given = setup((("", 20.0, 5.0), ("", 5.0, 3.0)))
    (problem,) = KIND.check(table, given)
    assert problem.detail.startswith("At 5 V")
    for currents in ([0.0, 0.0], [0.0, 0.0009], [0.0, 1e-300]):
        (problem,) = KIND.check(points(currents, losses=0.1), setup(()))
        assert problem.column == "output_current_a"


def test_a_current_in_the_wrong_unit_is_named() -> None:
    milliamperes = points([500.0, 5000.0], losses=2.5)
    (problem,) = KIND.check(milliamperes, setup())
    assert problem.column == "output_current_a"
    assert "unit" in problem.detail


def test_a_table_with_the_measured_voltage_as_nominal_is_named() -> None:
    table = points(np.linspace(0.1, 5, 400).tolist())
    drifting = np.linspace(20.0, 19.2, 400)
    table = Table(columns={**table.columns, "output_nominal_v": drifting}, rows=table.rows)
    (problem,) = KIND.check(table, setup())
    assert problem.column == "output_nominal_v"
    assert "400" in problem.detail


def test_a_missing_column_is_named() -> None:
    table = points(GRID)
    columns = {name: column for name, column in table.columns.items() if name != "input_power_w"}
    (problem,) = KIND.check(Table(columns=columns, rows=table.rows), setup())
    assert problem.column == "input_power_w"


def test_an_empty_table_is_named() -> None:
    (problem,) = KIND.check(points([]), setup())
    assert "no rows" in problem.detail


@settings(max_examples=150, deadline=None)
@given(
    cells=st.lists(
        st.tuples(*[st.floats(allow_nan=True, allow_infinity=True, width=32)] * 4),
        min_size=0,
        max_size=6,
    ),
    advertised=st.booleans(),
    supply=st.sampled_from(["single", "adaptive"]),
)
def test_any_table_is_either_refused_with_a_reason_or_computed(
    cells: list[tuple[float, ...]], advertised: bool, supply: SupplyClass
) -> None:
    names = ("output_nominal_v", "input_power_w", "output_voltage_v", "output_current_a")
    values = np.array(cells, dtype=np.float64).reshape(len(cells), 4)
    table = Table(
        columns={name: values[:, index] for index, name in enumerate(names)},
        rows=np.arange(2, len(cells) + 2),
    )
    given_setup = setup(supply=supply) if advertised else setup((), supply=supply)
    problems = KIND.check(table, given_setup)
    if problems:
        assert all(problem.detail for problem in problems)
    else:
        for item in KIND.measure(table, given_setup).values:
            assert math.isfinite(item.value)
