"""Which planned points a run holds."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.kinds.base import PlannedRun
from measurements.kinds.coverage import all_points, held_points

COLUMNS = ("device", "output_nominal_v", "output_current_a", "ripple_mv_pp")


def planned(*rows: tuple[str | float | None, ...], log: bool = False) -> PlannedRun:
    """A planned run with these rows."""
    return PlannedRun("Made up", {}, COLUMNS, rows, log=log)


THREE = planned((None, 5.0, 0.0, None), (None, 5.0, 3.0, None), (None, 20.0, 5.0, None))


def held(asked: PlannedRun, *points: dict[str, Any]) -> set[int]:
    """The rows that a run with these points holds."""
    return set(held_points(asked, facts={"points": list(points)}))


def test_a_point_counts_for_the_row_with_its_numbers() -> None:
    assert held(THREE, {"output_nominal_v": 5.0, "output_current_a": 3.0}) == {1}
    assert held(THREE, {"output_nominal_v": 9.0, "output_current_a": 3.0}) == set()
    assert held(THREE) == set()


@pytest.mark.parametrize(("volts", "meets"), [(20.15, True), (20.3, False)])
def test_numbers_agree_within_one_per_cent(volts: float, meets: bool) -> None:
    assert (held(THREE, {"output_nominal_v": volts, "output_current_a": 5.0}) == {2}) is meets


def test_a_row_may_leave_open_what_a_point_states_and_a_closer_row_goes_first() -> None:
    unknown = planned((None, 5.0, 0.0, None), (None, 5.0, None, None))
    assert held(unknown, {"output_nominal_v": 5.0, "output_current_a": 0.0}) == {0}
    assert held(unknown, {"output_nominal_v": 5.0, "output_current_a": 2.0}) == {1}


def test_a_point_that_states_less_counts_for_every_row_that_it_fits() -> None:
    assert held(THREE, {"output_nominal_v": 5.0}) == {0, 1}
    assert held(THREE, {"device": "tablet"}) == set()


def test_texts_agree_however_their_capitals_are_written() -> None:
    asked = planned(("Tablet", None, None, None), ("phone", None, None, None))
    assert held(asked, {"device": "tablet"}) == {0}
    assert held(asked, {"device": 1.0}) == set()


def test_a_log_is_one_point_and_a_run_that_states_none_holds_all() -> None:
    log = planned((None, 5.0, None, None), (None, 9.0, None, None), log=True)
    assert all_points(log) == {0}
    assert held_points(log, facts={"points": []}) == {0}
    assert held_points(planned(), facts={}) == {0}
    assert held_points(THREE, facts={"pairs": []}) == {0, 1, 2}


NUMBER = st.floats(0.0, 1e6)
ROW = st.tuples(
    st.none() | st.sampled_from(["a", "b"]),
    st.none() | NUMBER,
    st.none() | NUMBER,
    st.none(),
)


@given(rows=st.lists(ROW, min_size=1, max_size=8))
def test_a_run_of_exactly_the_planned_points_lacks_none_that_says_something(
    rows: list[tuple[str | float | None, ...]],
) -> None:
    asked = planned(*rows)
    points = [
        {name: cell for name, cell in zip(COLUMNS, row, strict=True) if cell is not None}
        for row in rows
    ]
    speaking = {place for place, point in enumerate(points) if point}
    # A point with as many cells may meet another row as closely, but its own row always.
    assert held(asked, *points) == speaking


@given(rows=st.lists(ROW, min_size=1, max_size=6), fewer=st.integers(0, 5))
def test_more_points_never_hold_fewer_rows(
    rows: list[tuple[str | float | None, ...]], fewer: int
) -> None:
    asked = planned(*rows)
    points = [
        {name: cell for name, cell in zip(COLUMNS, row, strict=True) if cell is not None}
        for row in rows
    ]
    assert held(asked, *points[:fewer]) <= held(asked, *points)
