"""Readings at a port that no USB output can give."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds.readings import HIGHEST, port_readings


def table(*pairs: tuple[float, float]) -> Table:
    """Voltages [V] and currents [A] whose first pair stands in line 2 of the file."""
    volts, amperes = zip(*pairs, strict=True)
    return Table(
        columns={"voltage_v": np.array(volts), "current_a": np.array(amperes)},
        rows=np.arange(2, len(pairs) + 2),
    )


def test_the_highest_and_nothing_are_let_through() -> None:
    assert list(port_readings(table((60.0, 20.0), (0.0, 0.0), (-0.0, 5e-324)))) == []


def test_every_bad_cell_is_named_by_row_and_column_with_what_to_do() -> None:
    found = list(port_readings(table((5.0, 1.0), (math.nan, -1.0), (20_000.0, math.inf))))
    assert [(problem.row, problem.column) for problem in found] == [
        (3, "voltage_v"),
        (4, "voltage_v"),
        (3, "current_a"),
        (4, "current_a"),
    ]
    says = [problem.detail for problem in found]
    assert "fill it in" in says[0]
    assert "20000 V" in says[1]
    assert "check the unit" in says[1]
    assert "negative" in says[2]
    assert "no finite number" in says[3]


@given(volts=st.floats(), amperes=st.floats())
def test_what_is_let_through_is_finite_and_within_its_range(volts: float, amperes: float) -> None:
    refused = {problem.column for problem in port_readings(table((volts, amperes)))}
    for column, value in (("voltage_v", volts), ("current_a", amperes)):
        assert (column in refused) is not (0 <= value <= HIGHEST[column][0])
