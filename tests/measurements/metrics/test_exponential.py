"""The fit against curves whose parameters are known; certified data are in validation/."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.exponential import FitError, fit_exponential_approach

MINUTES = np.linspace(0, 60, 121)


def approach(time: FloatArray, *, rise: float, time_constant: float, start: float) -> FloatArray:
    return np.asarray(start + rise * (1 - np.exp(-time / time_constant)))


@settings(max_examples=60, deadline=None)
@given(
    rise=st.floats(1, 80) | st.floats(-40, -1),
    share=st.floats(0.02, 4),
    start=st.floats(-40, 60),
    duration=st.floats(1, 20_000),
)
def test_an_exact_curve_is_recovered(
    rise: float, share: float, start: float, duration: float
) -> None:
    time = np.linspace(0, duration, 200)
    tau = share * duration
    fit = fit_exponential_approach(
        time, value=approach(time, rise=rise, time_constant=tau, start=start), start=start
    )
    assert fit.rise == pytest.approx(rise, rel=1e-6)
    assert fit.time_constant == pytest.approx(tau, rel=1e-6)
    assert fit.residual_deviation < 1e-9 * abs(rise)


@settings(max_examples=30, deadline=None)
@given(shift=st.floats(-100, 100), seed=st.integers(0, 2**32 - 1))
def test_shifting_values_and_start_together_changes_nothing(shift: float, seed: int) -> None:
    noise = np.random.default_rng(seed).normal(0, 0.3, len(MINUTES))
    value = approach(MINUTES, rise=45, time_constant=14, start=25) + noise
    here = fit_exponential_approach(MINUTES, value=value, start=25.0)
    there = fit_exponential_approach(MINUTES, value=value + shift, start=25.0 + shift)
    assert there.rise == pytest.approx(here.rise, rel=1e-6)
    assert there.time_constant == pytest.approx(here.time_constant, rel=1e-6)
    assert there.rise_standard_error == pytest.approx(here.rise_standard_error, rel=1e-4)


@settings(max_examples=30, deadline=None)
@given(time_scale=st.floats(1e-3, 1e5), value_scale=st.floats(1e-3, 1e3))
def test_results_and_standard_errors_scale_with_the_axes(
    time_scale: float, value_scale: float
) -> None:
    noise = np.random.default_rng(7).normal(0, 0.3, len(MINUTES))
    value = approach(MINUTES, rise=45, time_constant=14, start=0) + noise
    here = fit_exponential_approach(MINUTES, value=value, start=0.0)
    there = fit_exponential_approach(MINUTES * time_scale, value=value * value_scale, start=0.0)
    assert there.rise == pytest.approx(here.rise * value_scale, rel=1e-6)
    assert there.rise_standard_error == pytest.approx(
        here.rise_standard_error * value_scale, rel=1e-4
    )
    assert there.time_constant == pytest.approx(here.time_constant * time_scale, rel=1e-6)
    assert there.time_constant_standard_error == pytest.approx(
        here.time_constant_standard_error * time_scale, rel=1e-4
    )


def test_standard_errors_agree_with_the_spread_of_repeated_records() -> None:
    """Simulation instead of algebra: the estimates of 300 noisy records really scatter so."""
    random = np.random.default_rng(20)
    exact = approach(MINUTES, rise=45, time_constant=14, start=25)
    fits = [
        fit_exponential_approach(
            MINUTES, value=exact + random.normal(0, 0.5, len(MINUTES)), start=25.0
        )
        for _ in range(300)
    ]
    # The relative spread of a standard deviation from 300 draws is 1/√600 = 4 %: allow 4 of it.
    for estimates, stated in (
        ([fit.rise for fit in fits], [fit.rise_standard_error for fit in fits]),
        ([fit.time_constant for fit in fits], [fit.time_constant_standard_error for fit in fits]),
    ):
        assert np.std(estimates, ddof=1) == pytest.approx(np.mean(stated), rel=0.17)


def test_a_record_that_stays_at_its_start_has_no_curve() -> None:
    with pytest.raises(FitError, match="never leave"):
        fit_exponential_approach(MINUTES, value=np.full(len(MINUTES), 25.0), start=25.0)


def test_two_readings_are_too_few() -> None:
    with pytest.raises(FitError, match="three"):
        fit_exponential_approach(np.array([0.0, 1.0]), value=np.array([0.0, 1.0]), start=0.0)


def test_readings_without_a_duration_have_no_curve() -> None:
    with pytest.raises(FitError):
        fit_exponential_approach(np.zeros(4), value=np.array([1.0, 2.0, 3.0, 4.0]), start=0.0)


def test_a_gap_in_the_numbers_has_no_curve() -> None:
    value = approach(MINUTES, rise=45, time_constant=14, start=25)
    value[3] = np.nan
    with pytest.raises(FitError):
        fit_exponential_approach(MINUTES, value=value, start=25.0)


def test_a_record_that_speeds_up_has_no_curve() -> None:
    with pytest.raises(FitError):
        fit_exponential_approach(MINUTES, value=MINUTES**2, start=0.0)


def test_a_record_that_alternates_around_its_start_has_no_usable_curve() -> None:
    value = np.where(np.arange(len(MINUTES)) % 2, 1.0, -1.0)
    try:
        fit = fit_exponential_approach(MINUTES, value=value, start=0.0)
    except FitError:
        return
    assert fit.time_constant_standard_error > fit.time_constant


def test_a_settled_record_shows_in_its_standard_error() -> None:
    try:
        fit = fit_exponential_approach(MINUTES, value=np.full(len(MINUTES), 30.0), start=25.0)
    except FitError:
        return
    assert fit.time_constant_standard_error > fit.time_constant


def test_lengths_that_differ_are_a_programming_error() -> None:
    with pytest.raises(ValueError, match="same length"):
        fit_exponential_approach(np.zeros(4), value=np.zeros(3), start=0.0)
