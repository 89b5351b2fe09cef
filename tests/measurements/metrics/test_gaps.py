from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.gaps import joined_intervals, pieces

intervals = st.lists(st.floats(1e-3, 1e4), min_size=1, max_size=60)


@pytest.mark.parametrize(
    ("spacing", "pause", "is_gap"),
    [
        # Of readings a second apart: the floor of 10 s counts.
        (1.0, 10.0, False),
        (1.0, 10.5, True),
        # Of readings 30 s apart: five times that.
        (30.0, 150.0, False),
        (30.0, 151.0, True),
    ],
)
def test_a_gap_is_longer_than_five_intervals_and_ten_seconds(
    spacing: float, pause: float, is_gap: bool
) -> None:
    time = np.cumsum([0.0, spacing, spacing, pause, spacing, spacing])
    assert joined_intervals(time).tolist() == [True, True, not is_gap, True, True]


@given(intervals, st.integers(-(10**6), 10**6))
def test_gaps_do_not_depend_on_where_time_starts(spacings: list[float], shift: int) -> None:
    # Sixteenths of a second stay exact when shifted.
    time = np.cumsum(np.round(np.array(spacings) * 16) / 16)
    assert joined_intervals(time).tolist() == joined_intervals(time + shift).tolist()


@given(intervals)
def test_pieces_cover_every_reading_once_and_part_at_gaps(spacings: list[float]) -> None:
    joined = joined_intervals(np.cumsum([0.0, *spacings]))
    covered = [index for start, stop in pieces(joined) for index in range(start, stop)]
    assert covered == list(range(len(spacings) + 1))
    assert [start - 1 for start, _ in pieces(joined)[1:]] == np.flatnonzero(~joined).tolist()


def test_a_single_reading_has_no_interval() -> None:
    joined = joined_intervals(np.array([5.0]))
    assert joined.size == 0
    assert pieces(joined) == ((0, 1),)
