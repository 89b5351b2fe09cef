from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.integration import integral, joined_duration, running_integral

readings = st.lists(
    st.tuples(st.floats(1e-3, 1e3), st.floats(-1e3, 1e3), st.booleans()), min_size=1, max_size=50
)


def test_a_gap_adds_nothing_whatever_stands_beside_it() -> None:
    time, power = np.array([0.0, 10.0, 100.0, 110.0]), np.array([5.0, 5.0, 7.0, 7.0])
    assert integral(time, y=power, joined=np.array([True, False, True])) == 120.0
    power[1] = np.nan
    assert integral(time, y=power, joined=np.array([False, False, True])) == 70.0


@given(readings)
def test_the_parts_make_the_whole(rows: list[tuple[float, float, bool]]) -> None:
    time = np.cumsum([0.0, *(row[0] for row in rows)])
    y = np.array([0.0, *(row[1] for row in rows)])
    joined = np.array([row[2] for row in rows])
    whole = integral(time, y=y, joined=np.ones_like(joined))
    parts = integral(time, y=y, joined=joined) + integral(time, y=y, joined=~joined)
    assert parts == pytest.approx(whole, rel=1e-9, abs=1e-6)
    running = running_integral(time, y=y, joined=joined)
    assert running[0] == 0
    assert running[-1] == pytest.approx(integral(time, y=y, joined=joined), rel=1e-9, abs=1e-6)
    assert (np.diff(running)[~joined] == 0).all()


@given(readings, st.floats(0.1, 100))
def test_a_constant_integrates_to_itself_times_the_duration(
    rows: list[tuple[float, float, bool]], level: float
) -> None:
    time = np.cumsum([0.0, *(row[0] for row in rows)])
    joined = np.array([row[2] for row in rows])
    area = integral(time, y=np.full(time.size, level), joined=joined)
    assert area == pytest.approx(level * joined_duration(time, joined=joined))
