"""Records that must not be computed, and what the person is told."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds.thermal import KIND
from tests.measurements.kinds.thermal.records import heating, record, setup


def test_a_sound_record_has_no_problems() -> None:
    assert KIND.check(record(ambient_c=25.0, top_c=heating(40)), setup()) == ()


@pytest.mark.parametrize(
    ("time", "row"),
    [
        ([0, 10, 5, 20], 4),
        ([0, 10, 10, 20], 4),
        ([0, -1, 2, 3], 3),
        ([0, math.nan, 2, 3], 3),
        ([0, 1, 2, math.inf], 5),
    ],
)
def test_time_that_does_not_run_forward_is_named_by_row(time: list[float], row: int) -> None:
    (problem,) = KIND.check(record(time_s=time, top_c=[26, 27, 28, 29]), setup())
    assert (problem.row, problem.column) == (row, "time_s")


def test_an_infinite_temperature_is_named_by_row_and_column() -> None:
    table = record(time_s=[0, 10, 20], ambient_c=[25, 25, math.inf], top_c=[26, -math.inf, 28])
    assert {(problem.row, problem.column) for problem in KIND.check(table, setup())} == {
        (3, "top_c"),
        (4, "ambient_c"),
    }


def test_an_output_power_that_cannot_be_is_named_by_row() -> None:
    table = record(time_s=[0, 10, 20, 30], top_c=30.0, output_power_w=[0.0, -0.2, -65.0, math.inf])
    problems = KIND.check(table, setup())
    assert {(problem.row, problem.column) for problem in problems} == {
        (4, "output_power_w"),
        (5, "output_power_w"),
    }
    assert any("sign" in problem.detail for problem in problems)


def test_an_output_power_without_any_reading_is_named() -> None:
    (problem,) = KIND.check(record(top_c=30.0, output_power_w=math.nan), setup())
    assert problem.column == "output_power_w"


def test_a_sensor_without_any_reading_is_named() -> None:
    (problem,) = KIND.check(record(top_c=30.0, side_c=math.nan), setup())
    assert problem.column == "side_c"


def test_a_record_of_the_ambient_alone_is_named() -> None:
    (problem,) = KIND.check(record(ambient_c=25.0), setup())
    assert "No temperature column" in problem.detail


def test_a_record_without_time_is_named() -> None:
    table = Table(columns={"top_c": np.array([30.0])}, rows=np.array([2]))
    (problem,) = KIND.check(table, setup())
    assert problem.column == "time_s"


def test_an_empty_record_is_named() -> None:
    (problem,) = KIND.check(record(time_s=[], top_c=[]), setup())
    assert "no rows" in problem.detail


@pytest.mark.parametrize(
    ("materials", "says"),
    [
        ({"top": "bakelite"}, "bakelite"),
        ({"bottom": "metal"}, "bottom"),
        ({"ambient": "metal"}, "ambient"),
        ({"top": None}, "None"),
        ({"top": ["metal"]}, "metal"),
        (["metal"], "JSON object"),
        ("metal", "JSON object"),
        (7, "JSON object"),
    ],
)
def test_materials_that_mean_nothing_are_named(materials: Any, says: str) -> None:
    (problem,) = KIND.check(record(top_c=30.0), setup(materials=materials))
    assert problem.column == "materials"
    assert says in problem.detail


def test_an_unknown_enclosure_matters_only_where_it_is_used() -> None:
    table = record(top_c=30.0, side_c=30.0)
    (problem,) = KIND.check(table, setup(enclosure="leather"))
    assert "leather" in problem.detail
    stated = {"top": "metal", "side": "plastic"}
    assert KIND.check(table, setup(enclosure="leather", materials=stated)) == ()


@settings(max_examples=150, deadline=None)
@given(
    readings=st.lists(
        st.tuples(
            st.floats(allow_nan=True, allow_infinity=True),
            st.floats(-40, 85) | st.just(math.nan),
            st.floats(-40, 250) | st.sampled_from([math.nan, math.inf]),
            st.floats(-1, 1000) | st.sampled_from([math.nan, math.inf, 5e-324]),
        ),
        max_size=8,
    ),
    ordered=st.booleans(),
    ambient=st.none() | st.floats(-20, 60),
    spacing=st.sampled_from([10.0, 60.0, 600.0]),
    logs_power=st.booleans(),
)
def test_any_record_is_either_refused_with_a_reason_or_computed(
    readings: list[tuple[float, float, float, float]],
    ordered: bool,
    ambient: float | None,
    spacing: float,
    logs_power: bool,
) -> None:
    columns = np.array(readings, dtype=np.float64).reshape(len(readings), 4)
    times = [spacing * row for row in range(len(readings))] if ordered else columns[:, 0].tolist()
    power = {"output_power_w": columns[:, 3]} if logs_power else {}
    table = record(time_s=times, ambient_c=columns[:, 1], top_c=columns[:, 2], **power)
    given_setup = setup(ambient_c=ambient)
    problems = KIND.check(table, given_setup)
    if problems:
        assert all(problem.detail for problem in problems)
        return
    outcome = KIND.measure(table, given_setup)
    json.dumps(outcome.details.facts, allow_nan=False)
    for item in outcome.values:
        assert math.isfinite(item.value)
        assert math.isfinite(item.standard_uncertainty)
