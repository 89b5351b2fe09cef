"""Tables that must not be computed, and what the person is told."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds.sharing import KIND
from tests.measurements.kinds.sharing.tables import PAIR, Row, setup, table


def test_a_sound_table_has_no_problems() -> None:
    assert KIND.check(table(PAIR), setup()) == ()
    assert KIND.check(table(PAIR, inputs=(95.0, math.nan)), setup()) == ()


@pytest.mark.parametrize("combination", ["c1+C2", " C1 + C2 ", "C1+c2"])
def test_blanks_and_capitals_of_labels_do_not_matter(combination: str) -> None:
    rows = [(combination, "c1 ", 20.0, 3.0), ("C1+C2", "C2", 9.0, 2.0)]
    assert KIND.check(table(rows), setup()) == ()


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        (("C1+C3", "C1", 20.0, 1.0), "combination", "C3"),
        (("C1+C1", "C1", 20.0, 1.0), "combination", "twice"),
        (("C1+c1", "C1", 20.0, 1.0), "combination", "twice"),
        (("C1++C2", "C1", 20.0, 1.0), "combination", "blank"),
        (("C1+", "C1", 20.0, 1.0), "combination", "blank"),
        (("", "C1", 20.0, 1.0), "combination", "blank"),
        (("C1, C2", "C1", 20.0, 1.0), "combination", "join labels by +"),
        (("C1+C2", "C9", 20.0, 1.0), "port", "C1, C2, A1"),
        (("C1+C2", "", 20.0, 1.0), "port", "blank"),
        (("C1+C2", "A1", 20.0, 1.0), "port", "not in the combination C1+C2"),
        (("C1+C2", "C1", math.nan, 1.0), "voltage_v", "no finite number"),
        (("C1+C2", "C1", math.inf, 1.0), "voltage_v", "no finite number"),
        (("C1+C2", "C1", -20.0, 1.0), "voltage_v", "negative"),
        (("C1+C2", "C1", 20_000.0, 1.0), "voltage_v", "unit"),
        (("C1+C2", "C1", 20.0, math.nan), "current_a", "no finite number"),
        (("C1+C2", "C1", 20.0, -1.0), "current_a", "negative"),
        (("C1+C2", "C1", 20.0, 3000.0), "current_a", "unit"),
    ],
)
def test_a_wrong_cell_is_named_by_row_and_column(row: Row, column: str, says: str) -> None:
    problems = KIND.check(table([("A1", "A1", 5.0, 1.0), row]), setup())
    assert [(problem.row, problem.column) for problem in problems] == [(3, column)]
    assert says in problems[0].detail


def test_the_limits_of_voltage_and_current_are_let_through() -> None:
    assert KIND.check(table([("C1", "C1", 60.0, 20.0), ("C2", "C2", 0.0, 0.0)]), setup()) == ()


def test_a_port_written_twice_in_a_combination_is_named_with_the_first_line() -> None:
    rows = [*PAIR, ("c1 + c2", "c1", 20.0, 3.0), ("C2+C1", "C1", 20.0, 3.0)]
    (problem,) = KIND.check(table(rows), setup())
    assert (problem.row, problem.column) == (4, "port")
    assert "line 2" in problem.detail


@pytest.mark.parametrize("power", [0.0, -5.0, math.inf])
def test_an_impossible_input_power_is_named(power: float) -> None:
    problems = KIND.check(table(PAIR, inputs=(math.nan, power)), setup())
    assert [(problem.row, problem.column) for problem in problems] == [(3, "input_power_w")]


def test_more_output_than_input_is_named_at_the_combination() -> None:
    rows = (("A1", "A1", 5.0, 2.0), *PAIR)
    (problem,) = KIND.check(table(rows, inputs=(12.0, 82.0, 82.0)), setup())
    assert (problem.row, problem.column) == (3, "input_power_w")
    assert "83 W" in problem.detail
    assert KIND.check(table(rows, inputs=(12.0, 83.0, 83.0)), setup()) == ()


def test_more_output_than_input_counts_also_where_a_port_is_missing() -> None:
    (problem,) = KIND.check(table(PAIR[:1], inputs=(60.0,)), setup())
    assert problem.column == "input_power_w"


def test_an_adapter_without_ports_is_named() -> None:
    (problem,) = KIND.check(table(PAIR), setup(ports=()))
    assert "no ports" in problem.detail


def test_an_empty_table_is_named() -> None:
    (problem,) = KIND.check(table([]), setup())
    assert "no rows" in problem.detail
    nothing = Table(columns={}, rows=np.array([], dtype=np.int64))
    assert KIND.check(nothing, setup())


LABELS = st.sampled_from(["C1", "c2", "A1", "C9", "", "+"]) | st.text(max_size=4)
NUMBERS = st.floats(allow_nan=True, allow_infinity=True) | st.floats(0, 60)


@settings(max_examples=300, deadline=None)
@given(
    rows=st.lists(
        st.tuples(
            st.lists(LABELS, max_size=3).map("+".join), LABELS, NUMBERS, st.floats(-1, 21), NUMBERS
        ),
        max_size=6,
    ),
    with_input=st.booleans(),
    ports=st.sampled_from([(), (("C1", None),), (("C1", 65.0), ("C2", 30.0), ("A1", None))]),
)
def test_any_table_is_either_refused_with_a_reason_or_computed(
    rows: list[tuple[str, str, float, float, float]],
    with_input: bool,
    ports: tuple[tuple[str, float | None], ...],
) -> None:
    inputs = [row[4] for row in rows] if with_input else None
    whole = table([row[:4] for row in rows], inputs=inputs)
    given_setup = setup(ports)
    problems = KIND.check(whole, given_setup)
    if problems:
        assert all(problem.detail for problem in problems)
        return
    outcome = KIND.measure(whole, given_setup)
    for item in outcome.values:
        assert math.isfinite(item.value)
        assert item.standard_uncertainty >= 0
    json.dumps(outcome.details.facts, allow_nan=False)
    (matrix,) = outcome.details.matrices
    assert {len(row) for row in matrix.cells} == {len(matrix.columns)}
