from __future__ import annotations

import math
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Problem, Reading
from measurements.intake.tables import read_table
from measurements.kinds.base import Outcome, Setup
from measurements.kinds.no_load import KIND
from measurements.kinds.no_load.checks import check
from tests.measurements.kinds.no_load.records import EUROPE, steady, table


def test_a_sound_record_has_no_problem() -> None:
    assert check(steady(), EUROPE) == ()
    assert check(table([0.05]), EUROPE) == ()


def test_a_negative_power_is_refused_with_its_row_and_what_to_do() -> None:
    readings = np.full(30, 0.05)
    readings[15] = -0.2
    (problem,) = check(table(readings, time=np.arange(30.0)), EUROPE)
    assert (problem.row, problem.column) == (17, "input_power_w")
    assert "-0.2 W" in problem.detail
    assert "check" in problem.detail


@pytest.mark.parametrize(("power", "count"), [(-0.001, 0), (-0.0011, 1), (0.0, 0)])
def test_a_meters_wander_around_zero_is_let_through(power: float, count: int) -> None:
    assert len(check(table([power]), EUROPE)) == count


@pytest.mark.parametrize("power", [np.nan, np.inf])
def test_a_missing_power_is_refused_with_its_row(power: float) -> None:
    (problem,) = check(table([0.05, power, 0.05], time=[0.0, 1.0, 2.0]), EUROPE)
    assert (problem.row, problem.column) == (3, "input_power_w")
    assert "missing" in problem.detail


@pytest.mark.parametrize(
    ("times", "row"),
    [
        ([0.0, 1.0, 1.0, 2.0], 4),
        ([0.0, 5.0, 3.0, 6.0], 4),
        ([0.0, np.nan, 2.0, 3.0], 3),
        ([np.inf, 1.0, 2.0, 3.0], 2),
        ([0.0, 1e-200, 1.0, 2.0], 3),
    ],
)
def test_time_that_repeats_runs_back_or_is_missing_is_refused_with_its_row(
    times: list[float], row: int
) -> None:
    (problem,) = check(table([0.05] * 4, time=times), EUROPE)
    assert (problem.row, problem.column) == (row, "time_s")


def test_every_problem_is_told_at_once() -> None:
    problems = check(table([-1.0, np.nan, 0.05], time=[0.0, 2.0, 1.0]), EUROPE)
    assert [(problem.row, problem.column) for problem in problems] == [
        (2, "input_power_w"),
        (3, "input_power_w"),
        (4, "time_s"),
    ]


def test_a_file_without_readings_is_refused() -> None:
    (problem,) = check(table([]), EUROPE)
    assert "no readings" in problem.detail


HEADINGS = ("time_s", "input_power_w", "input_voltage_v", "input_current_a", "power_factor")


def read(text: str) -> Reading:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text(text, "utf-8")
        return read_table(path, KIND.columns, file_name=path.name)


def came_of(reading: Reading, setup: Setup) -> tuple[Problem, ...] | Outcome:
    """The way that a file goes: read, checked, measured."""
    if reading.table is None:
        return reading.problems
    return KIND.check(reading.table, setup) or KIND.measure(reading.table, setup)


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("1,1e308,,,", "input_power_w"),
        ("1,1000.5,,,", "input_power_w"),
        ("1,,,,", "input_power_w"),
        ("1,0.05,2e5,,", "input_voltage_v"),
        ("1,0.05,,1e9,", "input_current_a"),
        ("1,0.05,,,1.2", "power_factor"),
        ("1e308,0.05,,,", "time_s"),
        ("-1,0.05,,,", "time_s"),
        ("one,0.05,,,", "time_s"),
        ("1,nought,,,", "input_power_w"),
    ],
)
def test_a_cell_that_cannot_be_is_refused_with_row_and_column(row: str, column: str) -> None:
    found = came_of(read(f"{','.join(HEADINGS)}\n0,0.05,230,0.01,0.3\n{row}\n2,0.05,,,\n"), EUROPE)
    assert isinstance(found, tuple)
    assert [(problem.row, problem.column) for problem in found] == [(3, column)]


cells = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.floats(0, 5).map("{:.4f}".format),
    st.sampled_from(["", " ", "-", "n/a", "0", "5e-324", "1e-200", "1e308", "1,5", "#REF!", "°"]),
)


@settings(deadline=None)
@given(
    rows=st.lists(st.tuples(*[cells] * len(HEADINGS)), max_size=6),
    clock=st.none() | st.sampled_from([1e-7, 1.0, 1e9]),
)
def test_any_file_is_either_refused_with_a_reason_or_computed(
    rows: list[tuple[str, ...]], clock: float | None
) -> None:
    if clock is not None:
        rows = [(repr(clock * place), *row[1:]) for place, row in enumerate(rows)]
    found = came_of(read("\n".join([",".join(HEADINGS), *map(",".join, rows), ""])), EUROPE)
    if isinstance(found, Outcome):
        for value in found.values:
            assert math.isfinite(value.value)
            assert 0 <= value.standard_uncertainty < math.inf
        assert all(math.isfinite(verdict.margin) for verdict in found.verdicts)
    else:
        assert found
        assert all(problem.detail.endswith(".") for problem in found)


@settings(deadline=None)
@given(
    powers=st.lists(
        st.floats(-0.001, 1000) | st.sampled_from([0.0, 5e-324, -0.0]), min_size=1, max_size=20
    ),
    step=st.none() | st.sampled_from([1e-6, 1.0, 3600.0, 1e8]),
)
def test_any_record_that_passes_the_check_gives_finite_numbers(
    powers: list[float], step: float | None
) -> None:
    time = None if step is None else [step * place * 1.01 for place in range(len(powers))]
    record = table(powers, time=time)
    assert check(record, EUROPE) == ()
    for value in KIND.measure(record, EUROPE).values:
        assert math.isfinite(value.value)
        assert 0 <= value.standard_uncertainty < math.inf
