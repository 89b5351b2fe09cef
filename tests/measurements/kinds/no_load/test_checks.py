from __future__ import annotations

import numpy as np
import pytest

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
