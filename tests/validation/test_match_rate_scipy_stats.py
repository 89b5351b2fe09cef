"""The match rate's uncertainty against published tables and a reference library.

Standard normal distribution function, Φ(−2.5) = 0.00621, Φ(−2.6) = 0.00466, Φ(−3) = 0.00135,
Φ(0.25) = 0.5987, Φ(0.75) = 0.7734: read in reproductions of the common textbook tables.
Φ(1) = 0.8413 and Φ(−0.8) = 0.2119, the chance that a value of 0.095 or 0.104 with u = 0.005 truly
keeps an upper limit of 0.100 (the examples of ILAC-G8:09/2019): recomputed.
Share of successes among independent unequal trials: the Poisson binomial distribution of SciPy.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from measurements.kinds.base import Condition, Measured
from measurements.kinds.device_match.rate import derive, match_probability


def power(watts: float, device: str, *, u: float) -> Measured:
    return Measured("matched-power", watts, u, Condition(device=device))


@pytest.mark.parametrize(
    ("z", "probability", "digits"),
    [
        (-3.0, 0.00135, 5),
        (-2.6, 0.00466, 5),
        (-2.5, 0.00621, 5),
        (-0.8, 0.2119, 4),
        (0.25, 0.5987, 4),
        (0.75, 0.7734, 4),
        (1.0, 0.8413, 4),
    ],
)
def test_a_margin_of_z_uncertainties_has_the_probability_of_the_table(
    z: float, probability: float, digits: int
) -> None:
    # The best of 100 W is exact: nine tenths are 90 W, and u = 2 W.
    own, best = power(90 + 2 * z, "a", u=2.0), power(100.0, "a", u=0.0)
    assert round(match_probability(own, best=best), digits) == probability


@settings(deadline=None)
@given(
    own=st.lists(st.tuples(st.floats(70, 100), st.floats(0.05, 5)), min_size=1, max_size=8),
    best_u=st.floats(0, 5),
)
def test_the_rates_uncertainty_is_that_of_scipys_poisson_binomial(
    own: list[tuple[float, float]], best_u: float
) -> None:
    names = [f"device-{number}" for number in range(len(own))]
    best = [power(100.0, name, u=best_u) for name in names]
    powers = [power(watts, name, u=u) for (watts, u), name in zip(own, names, strict=True)]
    (rate,) = derive({"own": tuple(powers), "other": tuple(best)})["own"]
    chances = [
        float(stats.norm.cdf((watts - 90) / (u**2 + (0.9 * best_u) ** 2) ** 0.5))
        if watts < 100
        else 1.0
        for watts, u in own
    ]
    spread = float(stats.poisson_binom(chances).std())
    assert rate.standard_uncertainty == pytest.approx(100 * spread / len(own), rel=1e-6, abs=1e-6)
