from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.steps import Step, settled_steps


def steps_of(volts: FloatArray, *, joined: list[bool] | None = None) -> tuple[Step, ...]:
    flags = np.ones(len(volts) - 1, dtype=bool) if joined is None else np.array(joined)
    return settled_steps(np.arange(float(len(volts))), y=volts, joined=flags, threshold=0.75)


def test_every_renegotiation_is_found_at_its_first_reading() -> None:
    volts = np.repeat([5.0, 9.0, 20.0, 15.0], [10, 20, 30, 12])
    found = [(step.time, step.before, step.after) for step in steps_of(volts)]
    assert found == [(10.0, 5.0, 9.0), (30.0, 9.0, 20.0), (60.0, 20.0, 15.0)]


def test_a_dip_of_two_readings_is_no_step() -> None:
    volts = np.full(40, 20.0)
    volts[20:22] = 5.0
    assert steps_of(volts) == ()


def test_a_slow_slope_is_no_step() -> None:
    # 4 V over 200 readings: 0.1 V between neighbouring medians.
    assert steps_of(np.linspace(16, 20, 200)) == ()


def test_no_step_is_sought_across_a_gap() -> None:
    volts = np.repeat([9.0, 20.0], 10)
    assert steps_of(volts, joined=[True] * 9 + [False] + [True] * 9) == ()


def test_a_short_record_has_none() -> None:
    assert steps_of(np.array([5.0, 20.0])) == ()


@given(
    st.lists(
        st.tuples(st.sampled_from([5.0, 9.0, 12.0, 15.0, 20.0, 28.0]), st.integers(10, 30)),
        min_size=1,
        max_size=8,
    ),
    st.integers(0, 2**32 - 1),
)
def test_settled_levels_under_noise_give_their_changes(
    levels: list[tuple[float, int]], seed: int
) -> None:
    runs = [levels[0]] + [b for a, b in pairwise(levels) if a[0] != b[0]]
    volts = np.concatenate([np.full(count, level) for level, count in runs])
    noise = np.random.default_rng(seed).uniform(-0.1, 0.1, volts.size)
    found = steps_of(volts + noise)
    changes = np.flatnonzero(np.diff(volts)) + 1
    assert [step.time for step in found] == changes.tolist()
    for step, index in zip(found, changes, strict=True):
        assert abs(step.before - volts[index - 1]) <= 0.1
        assert abs(step.after - volts[index]) <= 0.1
