"""The factor for several comparisons against a reference library, SciPy's `stats`.

Quantiles of the t and the normal distribution at α/(2m), Bonferroni's share of α = 1 − 0.9545.
"""

from __future__ import annotations

import math

import pytest
from scipy import stats

from measurements.metrics.simultaneous import simultaneous_factor

ALPHA = 2 * stats.norm.sf(2.0)


@pytest.mark.parametrize("degrees", [1, 2, 3, 5, 10, 60])
@pytest.mark.parametrize("comparisons", [1, 2, 5, 7])
def test_the_factor_is_the_quantile_of_the_reference(degrees: int, comparisons: int) -> None:
    expected = stats.t.isf(ALPHA / (2 * comparisons), degrees)
    assert simultaneous_factor(degrees, comparisons=comparisons) == pytest.approx(expected)


@pytest.mark.parametrize("comparisons", [1, 2, 5, 7])
def test_with_many_degrees_it_is_that_of_the_normal_distribution(comparisons: int) -> None:
    expected = stats.norm.isf(ALPHA / (2 * comparisons))
    assert simultaneous_factor(math.inf, comparisons=comparisons) == pytest.approx(expected)
    assert simultaneous_factor(1e7, comparisons=comparisons) == pytest.approx(expected, abs=1e-5)
