from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.repeatability import repeatability

groups = st.lists(st.lists(st.floats(-1e4, 1e4), max_size=6), max_size=6)


def test_two_pairs_pool_in_closed_form() -> None:
    # Differences of 2 and 4: variances 2 and 8, one degree of freedom each.
    found = repeatability([[60, 62], [45, 49]])
    assert found is not None
    assert found.deviation == pytest.approx(math.sqrt(5))
    assert found.degrees_of_freedom == 2
    # ISO 5725: 2.8, from memory; it is 1.96·√2 rounded.
    assert found.limit == pytest.approx(1.96 * math.sqrt(2) * found.deviation, rel=0.02)


@pytest.mark.parametrize("given_groups", [[], [[]], [[1.0], [2.0]]])
def test_without_repeats_there_is_no_scatter(given_groups: list[list[float]]) -> None:
    assert repeatability(given_groups) is None


@given(groups, st.floats(-1e4, 1e4))
def test_the_scatter_does_not_depend_on_the_level_of_a_group(
    values: list[list[float]], shift: float
) -> None:
    before = repeatability(values)
    after = repeatability([[value + shift for value in group] for group in values])
    assert (before is None) == (after is None)
    if before is not None and after is not None:
        assert after.deviation == pytest.approx(before.deviation, abs=1e-6)


@given(st.floats(-1e4, 1e4), st.integers(2, 5))
def test_equal_repeats_have_no_scatter(value: float, count: int) -> None:
    found = repeatability([[value] * count])
    assert found is not None
    assert found.deviation == 0
