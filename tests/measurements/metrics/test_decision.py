from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.decision import coverage_factor, decide

numbers = st.floats(-1e6, 1e6)
uncertainties = st.floats(0, 1e3)


def test_a_value_equal_to_its_limit_passes_when_it_has_no_uncertainty() -> None:
    for sense in ("at most", "at least"):
        decision = decide(0.21, standard_uncertainty=0, limit=0.21, sense=sense)
        assert decision.outcome == "pass"


def test_a_value_beyond_its_limit_fails_when_it_has_no_uncertainty() -> None:
    assert decide(0.2101, standard_uncertainty=0, limit=0.21, sense="at most").outcome == "fail"
    assert decide(87.99, standard_uncertainty=0, limit=88.0, sense="at least").outcome == "fail"


def test_the_good_end_of_the_guard_band_passes_and_the_bad_end_is_undecided() -> None:
    # Binary fractions, so that the ends are met exactly.
    assert decide(0.75, standard_uncertainty=0.125, limit=1.0, sense="at most").outcome == "pass"
    bad_end = decide(1.25, standard_uncertainty=0.125, limit=1.0, sense="at most")
    assert bad_end.outcome == "undecided"


def test_the_contracts_own_example_is_undecided_with_a_negative_margin() -> None:
    decision = decide(0.2124, standard_uncertainty=0.0015, limit=0.21, sense="at most")
    assert decision.outcome == "undecided"
    assert decision.margin == pytest.approx(-0.0024)


@pytest.mark.parametrize(
    ("value", "uncertainty", "limit"),
    [(math.nan, 0.1, 1.0), (1.0, math.nan, 1.0), (1.0, 0.1, math.nan), (1.0, -0.1, 1.0)],
)
def test_what_is_no_number_is_not_judged(value: float, uncertainty: float, limit: float) -> None:
    with pytest.raises(ValueError, match="Cannot judge"):
        decide(value, standard_uncertainty=uncertainty, limit=limit, sense="at most")


@given(numbers, uncertainties, numbers)
def test_more_uncertainty_never_turns_fail_into_pass_or_back(
    value: float, uncertainty: float, limit: float
) -> None:
    sure = decide(value, standard_uncertainty=uncertainty, limit=limit, sense="at most")
    less_sure = decide(value, standard_uncertainty=uncertainty * 2, limit=limit, sense="at most")
    assert less_sure.outcome in (sure.outcome, "undecided")


@given(numbers, uncertainties, numbers)
def test_upper_and_lower_limits_mirror_each_other(
    value: float, uncertainty: float, limit: float
) -> None:
    upper = decide(value, standard_uncertainty=uncertainty, limit=limit, sense="at most")
    lower = decide(-value, standard_uncertainty=uncertainty, limit=-limit, sense="at least")
    assert upper == lower


def test_the_coverage_factor_grows_with_fewer_degrees_of_freedom() -> None:
    # JCGM 100:2008, Table G.2, column 95.45 %.
    printed = {1: 13.97, 2: 4.53, 3: 3.31, 4: 2.87, 5: 2.65, 10: 2.28, 20: 2.13, 50: 2.05}
    for degrees, factor in printed.items():
        assert round(coverage_factor(degrees), 2) == factor
    assert coverage_factor(math.inf) == 2.0
    # Effective degrees are cut down before the table is entered (G.4.1).
    assert coverage_factor(4.9) == coverage_factor(4)
    with pytest.raises(ValueError, match="degree of freedom"):
        coverage_factor(0.5)
