"""Near ties of whole cohorts against those of each value, and against plain arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from comparisons.bulk import near_ties as bulk
from comparisons.bulk.near_ties import near_tie_counts
from comparisons.ranking import near_ties, places
from measurements.kinds.base import Better

COHORTS = st.lists(
    st.tuples(
        st.floats(-100, 100).map(lambda number: round(number, 1)),
        st.sampled_from([0.0, 0.05, 0.1, 0.5, 3.0, math.nan]),
    ),
    max_size=40,
)


@pytest.mark.parametrize("better", ["lower", "higher"])
@pytest.mark.parametrize("at_once", [1, 7, 500_000])
@settings(deadline=None)
@given(cohort=COHORTS)
def test_counts_are_those_of_each_value(
    better: Better, at_once: int, cohort: list[tuple[float, float]]
) -> None:
    values = np.array([value for value, _ in cohort])
    spreads = np.array([spread for _, spread in cohort])
    order = places(values, better=better).order
    values, spreads = values[order], spreads[order]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bulk, "PAIRS_AT_ONCE", at_once)
        counts = near_tie_counts(values, spreads, better=better)
    assert counts.tolist() == [
        len(near_ties(values, spreads, position=position)) for position in range(len(values))
    ]


def test_two_values_inside_twice_their_combined_uncertainty_are_a_near_tie() -> None:
    # JCGM 100:2008, 5.1.2: independent u combine in quadrature; 6.2.1: U = k u, here k = 2.
    u = [0.3, 0.4, 0.1]
    values = [1.01, 2.0, 3.0]
    assert 2 * math.hypot(0.3, 0.4) > values[1] - values[0]
    assert 2 * math.hypot(0.4, 0.1) < values[2] - values[1]
    counts = near_tie_counts(np.array(values), np.array(u), better="lower")
    assert counts.tolist() == [1, 1, 0]
