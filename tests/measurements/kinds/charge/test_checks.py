"""Logs that must not be computed, and what the person is told."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds.charge import KIND
from tests.measurements.kinds.charge.records import log, setup

NAN, INF = math.nan, math.inf


def test_a_sound_log_has_no_problems() -> None:
    table = log(battery_percent=np.linspace(0, 100, 3601), input_power_w=33.0)
    assert KIND.check(table, setup()) == ()


@pytest.mark.parametrize(("device", "says"), [("", "No device"), ("Nowhere Pad", "“Nowhere Pad”")])
def test_a_device_that_the_catalogue_lacks_is_named(device: str, says: str) -> None:
    (problem,) = KIND.check(log(), setup(device=device))
    assert problem.column == "device"
    assert says in problem.detail


def test_a_device_may_be_called_by_its_name() -> None:
    assert KIND.check(log(), setup(device="invented slate 11 ")) == ()


@pytest.mark.parametrize(
    ("time", "rows"),
    [([0, 100, 50, 200], [4]), ([0, 100, 100, 200], [4]), ([0, -1, 100, -100], [3, 5])],
)
def test_time_that_does_not_run_forward_is_named_by_row(time: list[float], rows: list[int]) -> None:
    problems = KIND.check(log(time_s=time), setup())
    assert [(problem.row, problem.column) for problem in problems] == [
        (row, "time_s") for row in rows
    ]


@pytest.mark.parametrize("time", [[0, 9], [0, 3e6], [-1e308, 1e308]])
def test_a_log_of_an_impossible_length_asks_for_the_unit(time: list[float]) -> None:
    (problem,) = KIND.check(log(time_s=time), setup())
    assert "unit of the time column" in problem.detail


def test_blank_and_infinite_cells_are_named_by_row_and_column() -> None:
    table = log(
        time_s=[0, 60, 120, NAN],
        voltage_v=[20, NAN, 20, 20],
        current_a=[1, 1, INF, 1],
        battery_percent=[NAN, 1, 2, INF],
        input_power_w=[-INF, NAN, 30, 30],
    )
    found = {(problem.row, problem.column) for problem in KIND.check(table, setup())}
    assert found == {
        (5, "time_s"),
        (3, "voltage_v"),
        (4, "current_a"),
        (5, "battery_percent"),
        (2, "input_power_w"),
    }


def test_a_current_counted_backward_asks_to_be_turned() -> None:
    (problem,) = KIND.check(log(current_a=-1.5), setup())
    assert problem.column == "current_a"
    assert "change the sign" in problem.detail


def test_a_log_without_charging_is_named() -> None:
    (problem,) = KIND.check(log(current_a=0.001), setup())
    assert "nothing was charged" in problem.detail


@pytest.mark.parametrize("count", [0, 1])
def test_a_log_of_less_than_two_readings_is_named(count: int) -> None:
    (problem,) = KIND.check(log(time_s=[0.0] * count), setup())
    assert "fewer than two" in problem.detail


def test_missing_columns_are_named() -> None:
    table = Table(columns={"time_s": np.array([0.0, 60.0])}, rows=np.array([2, 3]))
    assert [problem.column for problem in KIND.check(table, setup())] == ["voltage_v", "current_a"]


@pytest.mark.parametrize("drawn", [29.9, 0.0, -33.0])
def test_more_energy_out_than_in_is_impossible(drawn: float) -> None:
    (problem,) = KIND.check(log(input_power_w=drawn), setup())
    assert problem.column == "input_power_w"
    assert "30 Wh" in problem.detail


def test_an_input_power_without_any_reading_is_no_column() -> None:
    assert KIND.check(log(input_power_w=NAN), setup()) == ()


def computed_or_refused(table: Table) -> None:
    """Either a reason for every problem, or finite numbers throughout."""
    problems = KIND.check(table, setup())
    if problems:
        assert all(problem.detail for problem in problems)
        return
    outcome = KIND.measure(table, setup())
    for item in outcome.values:
        assert math.isfinite(item.value), item.metric
        assert math.isfinite(item.standard_uncertainty), item.metric
    assert len({len(column) for column in outcome.trace.values()}) == 1
    json.dumps(outcome.details.facts, allow_nan=False)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(allow_nan=True, allow_infinity=True),
            st.floats(0, 60) | st.just(NAN),
            st.floats(-20, 20) | st.just(INF),
            st.floats(0, 100) | st.just(NAN),
            st.floats(-1, 1000) | st.sampled_from([NAN, INF]),
        ),
        max_size=8,
    )
)
def test_rubbish_is_refused_with_a_reason(
    readings: list[tuple[float, float, float, float, float]],
) -> None:
    columns = np.array(readings, dtype=np.float64).reshape(len(readings), 5)
    computed_or_refused(
        log(
            time_s=columns[:, 0],
            voltage_v=columns[:, 1],
            current_a=columns[:, 2],
            battery_percent=columns[:, 3],
            input_power_w=columns[:, 4],
        )
    )


@settings(max_examples=300, deadline=None)
@given(
    readings=st.lists(
        st.tuples(
            st.floats(5e-324, 1e4) | st.sampled_from([0.1, 1.0, 60.0]),
            st.floats(0, 60) | st.sampled_from([0.0, 5.0, 20.0]),
            st.floats(-20, 20) | st.sampled_from([0.0, 1.0, 3.0]),
            st.floats(0, 100) | st.sampled_from([NAN, 0.0, 50.0, 100.0]),
            st.floats(-1, 1000) | st.sampled_from([NAN, 200.0, 1000.0]),
        ),
        min_size=2,
        max_size=40,
    ),
    optional=st.sets(st.sampled_from(["battery_percent", "input_power_w"])),
)
def test_any_readings_that_a_meter_can_give_are_computed_or_refused(
    readings: list[tuple[float, float, float, float, float]], optional: set[str]
) -> None:
    columns = np.array(readings, dtype=np.float64)
    extra = {"battery_percent": columns[:, 3], "input_power_w": columns[:, 4]}
    computed_or_refused(
        log(
            time_s=np.cumsum(columns[:, 0]),
            voltage_v=columns[:, 1],
            current_a=columns[:, 2],
            **{name: extra[name] for name in optional},
        )
    )
