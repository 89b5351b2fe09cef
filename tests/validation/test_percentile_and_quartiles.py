"""Places against scipy's definitions and a worked percentile of the NIST/SEMATECH e-Handbook."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import percentileofscore, rankdata

from comparisons.ranking import FloatArray, places, spread

# NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.2, "Percentiles": twelve
# measured widths; p(N + 1) = 11.7 for p = 0.9 gives 95.1981 by hand. Read on the page.
NIST_WIDTHS = (
    95.1772,
    95.1567,
    95.1937,
    95.1959,
    95.1442,
    95.0610,
    95.1591,
    95.1195,
    95.1065,
    95.0925,
    95.1990,
    95.1682,
)


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


def test_quartiles_follow_the_rule_whose_ninetieth_percentile_nist_works_out() -> None:
    # The page works out p = 0.9 only; the same rule at p = 0.25, 0.5 and 0.75 by hand:
    # p(N + 1) = 3.25, 6.5 and 9.75 of the ordered values.
    ordered = sorted(NIST_WIDTHS)
    by_hand = (
        ordered[2] + 0.25 * (ordered[3] - ordered[2]),
        ordered[5] + 0.5 * (ordered[6] - ordered[5]),
        ordered[8] + 0.75 * (ordered[9] - ordered[8]),
    )
    assert np.quantile(NIST_WIDTHS, 0.9, method="weibull") == pytest.approx(95.1981, abs=5e-5)
    found = spread(np.array(NIST_WIDTHS))
    assert found.quartiles == pytest.approx(by_hand, abs=1e-9)
    assert found.quartiles == pytest.approx((95.10975, 95.15790, 95.189575), abs=1e-9)
    assert found.median == pytest.approx(95.15790, abs=1e-9)
