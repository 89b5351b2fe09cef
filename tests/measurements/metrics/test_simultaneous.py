"""The factor for several differences judged at once."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.decision import coverage_factor
from measurements.metrics.simultaneous import simultaneous_factor


@pytest.mark.parametrize("degrees", [1, 2, 4.7, 30, math.inf])
def test_one_comparison_has_the_factor_of_one(degrees: float) -> None:
    single = simultaneous_factor(degrees, comparisons=1)
    assert single == pytest.approx(coverage_factor(degrees), rel=1e-9)


@given(st.floats(1, 1e4), st.integers(1, 50))
def test_more_comparisons_and_fewer_degrees_widen(degrees: float, comparisons: int) -> None:
    factor = simultaneous_factor(degrees, comparisons=comparisons)
    assert factor < simultaneous_factor(degrees, comparisons=comparisons + 1)
    assert factor <= simultaneous_factor(max(1.0, degrees / 2), comparisons=comparisons)
    assert factor >= simultaneous_factor(math.inf, comparisons=comparisons)


@pytest.mark.parametrize("quantities", [1, 3, 7])
def test_equal_things_seem_to_differ_in_something_as_rarely_as_one_does(quantities: int) -> None:
    # 200 000 families of independent differences that are nothing but scatter.
    drawn = np.random.default_rng(11).standard_normal((200_000, quantities))
    found = np.abs(drawn).max(axis=1) > simultaneous_factor(math.inf, comparisons=quantities)
    assert found.mean() == pytest.approx(0.0455, abs=0.003)


@pytest.mark.parametrize(("degrees", "comparisons"), [(0.5, 1), (math.nan, 1), (4, 0)])
def test_what_cannot_be_judged_is_refused(degrees: float, comparisons: int) -> None:
    with pytest.raises(ValueError, match="at least 1"):
        simultaneous_factor(degrees, comparisons=comparisons)
