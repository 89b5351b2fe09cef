"""Geometry of two metrics against each other."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from comparisons.charts.pairs import HIGH, MOST_DOTS, UNITS, Axis, Scatter, scatter
from comparisons.queries.pairs import front
from measurements.kinds.base import Better

_numbers = st.floats(-1e6, 1e6, allow_nan=False).filter(lambda x: x == 0 or abs(x) > 1e-6)
_points = st.lists(st.tuples(_numbers, _numbers), min_size=1, max_size=25)


def drawn(
    points: list[tuple[float, float]], *, x: Better = "higher", y: Better = "higher"
) -> Scatter:
    across, up = (np.array([point[axis] for point in points]) for axis in (0, 1))
    spread = np.full(len(points), 0.1)
    found = scatter(
        Axis(across, spread, x),
        Axis(up, spread, y),
        on_front=front(
            across if x == "lower" else -across,
            up if y == "lower" else -up,
        ),
    )
    assert found is not None
    return found


@settings(max_examples=30, deadline=None)
@given(_points)
def test_everything_is_drawn_inside(points: list[tuple[float, float]]) -> None:
    found = drawn(points)
    for mark in found.marks:
        assert 0 <= mark.bar_from <= mark.at <= mark.bar_to <= 100
        assert 0 <= mark.bar_top <= mark.y <= mark.bar_bottom <= HIGH
    for place, y in re.findall(r"M(\d+) (\d+)h0", found.dots):
        assert 0 <= int(place) <= UNITS
        assert 0 <= int(y) <= HIGH
    assert all(0 <= tick.at <= 100 for tick in found.x_ticks)
    assert all(0 <= tick.at <= HIGH for tick in found.y_ticks)
    assert 2 <= len(found.x_ticks) <= 6


def test_a_larger_value_stands_farther_right_and_higher() -> None:
    found = drawn([(0.0, 9.0), (5.0, 5.0), (10.0, 0.0)])
    assert [mark.at for mark in found.marks] == sorted(mark.at for mark in found.marks)
    assert [mark.y for mark in found.marks] == sorted(mark.y for mark in found.marks)


@pytest.mark.parametrize(
    ("x", "y", "arrow", "anchor"),
    [
        ("higher", "higher", "↗", "end"),
        ("lower", "higher", "↖", "start"),
        ("higher", "lower", "↘", "end"),
        ("lower", "lower", "↙", "start"),
    ],
)
def test_the_better_corner_is_named_where_it_lies(
    x: Better, y: Better, arrow: str, anchor: str
) -> None:
    found = drawn([(0.0, 0.0), (1.0, 1.0)], x=x, y=y)
    assert (found.corner_arrow, found.corner_anchor) == (arrow, anchor)
    assert found.corner_at == (100.0 if x == "higher" else 0.0)
    assert (found.corner_y < HIGH / 2) == (y == "higher")


@pytest.mark.parametrize(("x", "y"), [("higher", "higher"), ("lower", "higher")])
def test_no_point_lies_beyond_the_stair_along_the_front(x: Better, y: Better) -> None:
    dice = np.random.default_rng(4)
    points = [tuple(point) for point in dice.uniform(0, 10, (60, 2)).tolist()]
    found = drawn(points, x=x, y=y)
    corners = re.findall(r"[MHV](\d+)(?: (\d+))?", found.steps)
    place, down = int(corners[0][0]), int(corners[0][1])
    stair = [(place, down)]
    for letter, number in re.findall(r"([HV])(\d+)", found.steps):
        place, down = (int(number), down) if letter == "H" else (place, int(number))
        stair.append((place, down))
    sign = 1 if x == "higher" else -1
    # Halfway between two points of the front the stair turns where one that is worse than the
    # first across and worse than the second up would stand: everybody there is beaten.
    for (left, top), (turn, low), (right, high) in zip(
        stair[::2], stair[1::2], stair[2::2], strict=False
    ):
        assert (turn, low) == (right, top)
        assert sign * right <= sign * left
        assert high <= top


def test_a_crowd_is_thinned_and_the_front_is_kept() -> None:
    dice = np.random.default_rng(9)
    points = [tuple(point) for point in dice.normal(0, 1, (20_000, 2)).tolist()]
    found = drawn(points)
    assert MOST_DOTS < found.drawn < 4_000
    assert len(found.dots) < 60_000
    across, up = (np.array([point[axis] for point in points]) for axis in (0, 1))
    assert len(found.marks) == len(front(-across, -up))
    few = drawn(points[:1_000])
    assert few.drawn == 1_000


def test_one_point_is_drawn_in_the_middle() -> None:
    found = drawn([(3.0, 3.0)])
    assert len(found.marks) == 1
    assert 0 < found.marks[0].at < 100
