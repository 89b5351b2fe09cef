"""Ranks and percentiles against the definitions of scipy.stats."""

from __future__ import annotations

import numpy as np
from scipy.stats import percentileofscore, rankdata

from comparisons.ranking import FloatArray, places


def cohorts() -> list[FloatArray]:
    """A thousand cohorts of 1 to 40 values, coarse enough that most of them hold ties."""
    generator = np.random.default_rng(7262)
    return [
        np.round(generator.normal(50.0, 3.0, size=int(size)), int(digits))
        for size, digits in zip(
            generator.integers(1, 41, size=1000), generator.integers(0, 3, size=1000), strict=True
        )
    ]


def test_the_thousand_cohorts_hold_ties() -> None:
    tied = sum(len(np.unique(values)) < len(values) for values in cohorts())
    assert tied > 400


def test_percentile_equals_scipys_mean_percentile_where_higher_is_better() -> None:
    # scipy.stats.percentileofscore, kind="mean": ties count half.
    for values in cohorts():
        expected = [percentileofscore(values, value, kind="mean") for value in values]
        np.testing.assert_allclose(
            places(values, better="higher").percentile, expected, rtol=0, atol=1e-9
        )


def test_percentile_is_scipys_turned_round_where_lower_is_better() -> None:
    for values in cohorts():
        expected = [100 - percentileofscore(values, value, kind="mean") for value in values]
        np.testing.assert_allclose(
            places(values, better="lower").percentile, expected, rtol=0, atol=1e-9
        )


def test_rank_equals_scipys_min_rank_in_both_directions() -> None:
    # scipy.stats.rankdata, method="min", is the standard competition rank 1, 2, 2, 4.
    for values in cohorts():
        assert (
            places(values, better="lower").rank.tolist() == rankdata(values, method="min").tolist()
        )
        assert (
            places(values, better="higher").rank.tolist()
            == rankdata(-values, method="min").tolist()
        )
