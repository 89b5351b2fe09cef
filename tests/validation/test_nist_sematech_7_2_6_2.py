"""Quartiles by the rule whose percentile the NIST/SEMATECH e-Handbook works out."""

from __future__ import annotations

import numpy as np
import pytest

from comparisons.ranking import spread

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
