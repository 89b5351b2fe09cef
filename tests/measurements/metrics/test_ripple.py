"""Size of a ripple: closed forms, laws, and records that must be refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from measurements.metrics import FloatArray
from measurements.metrics.ripple import (
    crest_factor,
    peak_to_peak,
    root_mean_square,
    share_on_extreme,
)

SAMPLES = arrays.arrays(
    np.float64,
    st.integers(2, 60),
    elements=st.floats(-50, 50, allow_nan=False).map(lambda value: round(value, 6)),
)
PHASE = 2 * np.pi * (np.arange(4000) + 0.5) / 1000


def quantised_sine(*, levels: int, clipped_at: float = 1.0) -> FloatArray:
    """A sine of ± `levels` converter steps, cut off at a part of its amplitude."""
    phase = 2 * np.pi * 0.0137513 * np.arange(20_000)
    return np.asarray(np.round(levels * np.clip(np.sin(phase), -clipped_at, clipped_at)))


def test_ripple_of_a_sine_on_a_voltage() -> None:
    voltage = 20 + 0.03 * np.sin(PHASE)
    # The samples straddle the crests, half a step of 1/1000 period away.
    assert peak_to_peak(voltage) == pytest.approx(0.06, rel=1e-5)
    assert root_mean_square(voltage) == pytest.approx(0.03 / math.sqrt(2), rel=1e-12)
    assert crest_factor(voltage) == pytest.approx(math.sqrt(2), rel=1e-5)


def test_ripple_of_a_square_wave_of_unequal_halves() -> None:
    # A quarter of the period high: mean a + d·h, RMS h·√(d(1 − d)), crest √((1 − d)/d).
    voltage = np.tile([5.04, 5.0, 5.0, 5.0], 100)
    assert peak_to_peak(voltage) == pytest.approx(0.04)
    assert root_mean_square(voltage) == pytest.approx(0.04 * math.sqrt(3) / 4)
    assert crest_factor(voltage) == pytest.approx(math.sqrt(3))


def test_ripple_of_a_ramp() -> None:
    count = 1000
    voltage = np.tile(np.arange(count) / (count - 1), 3) - 7
    # RMS of n equal steps: √((n + 1)/(12(n − 1))), which tends to 1/√12.
    assert peak_to_peak(voltage) == pytest.approx(1)
    assert root_mean_square(voltage) == pytest.approx(math.sqrt((count + 1) / (12 * (count - 1))))


def test_a_constant_record_has_no_ripple_and_no_crest() -> None:
    voltage = np.full(100, 0.1)
    assert peak_to_peak(voltage) == 0
    assert root_mean_square(voltage) == pytest.approx(0, abs=1e-15)
    assert crest_factor(voltage) is None
    assert share_on_extreme(voltage) == 0


@pytest.mark.parametrize("function", [peak_to_peak, root_mean_square, crest_factor])
@pytest.mark.parametrize("voltage", [[], [1.0, math.nan], [math.inf, 1.0], [-math.inf, math.inf]])
def test_records_without_finite_samples_are_refused(function: object, voltage: list[float]) -> None:
    assert callable(function)
    with np.errstate(invalid="ignore"), pytest.raises(ValueError, match="finite"):
        function(np.array(voltage))


@settings(max_examples=200, deadline=None)
@given(voltage=SAMPLES, shift=st.floats(-40, 40), gain=st.floats(0.01, 100))
def test_ripple_is_shift_invariant_and_scales(
    voltage: FloatArray, shift: float, gain: float
) -> None:
    changed = gain * voltage + shift
    near = 1e-9 * (1 + gain)
    assert peak_to_peak(changed) == pytest.approx(gain * peak_to_peak(voltage), abs=near)
    assert root_mean_square(changed) == pytest.approx(gain * root_mean_square(voltage), abs=near)


@settings(max_examples=200, deadline=None)
@given(voltage=SAMPLES)
def test_peak_to_peak_bounds_the_rms(voltage: FloatArray) -> None:
    ripple, rms = peak_to_peak(voltage), root_mean_square(voltage)
    # Popoviciu's inequality: the variance is at most a quarter of the squared range. And one
    # sample must lie half a range away from the mean or more: pp ≤ 2 · peak ≤ 2 · √n · RMS.
    assert 2 * rms <= ripple * (1 + 1e-9) + 1e-9
    assert ripple <= 2 * math.sqrt(voltage.size) * rms * (1 + 1e-9) + 1e-9


@settings(max_examples=200, deadline=None)
@given(voltage=SAMPLES)
def test_a_crest_factor_lies_between_one_and_the_root_of_the_number_of_samples(
    voltage: FloatArray,
) -> None:
    crest = crest_factor(voltage)
    assert (crest is None) == (peak_to_peak(voltage) == 0)
    if crest is not None:
        assert 1 - 1e-9 <= crest <= math.sqrt(voltage.size) * (1 + 1e-9)


@settings(max_examples=100, deadline=None)
@given(voltage=SAMPLES)
def test_order_and_sign_do_not_matter(voltage: FloatArray) -> None:
    for changed in (voltage[::-1], -voltage, np.sort(voltage)):
        assert peak_to_peak(changed) == peak_to_peak(voltage)
        assert root_mean_square(changed) == pytest.approx(root_mean_square(voltage), abs=1e-9)
        assert share_on_extreme(changed) == share_on_extreme(voltage)


@pytest.mark.parametrize("levels", [1, 2, 5, 20, 127])
def test_a_sound_sine_of_few_levels_is_not_clipped(levels: int) -> None:
    assert share_on_extreme(quantised_sine(levels=levels)) == 0


@pytest.mark.parametrize("levels", [20, 127, 2047])
@pytest.mark.parametrize("clipped_at", [0.6, 0.9])
def test_a_clipped_sine_shows_how_much_is_flat(levels: int, clipped_at: float) -> None:
    share = share_on_extreme(quantised_sine(levels=levels, clipped_at=clipped_at))
    # Time that a sine spends above a part c of its amplitude: arccos(c)/π, on either side; the
    # level of the converter begins half a step lower.
    expected = math.acos(round(levels * clipped_at) / levels - 0.5 / levels) / math.pi
    assert share == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("samples_a_period", [4, 6, 8, 100])
def test_a_sine_that_repeats_exactly_is_not_clipped(samples_a_period: int) -> None:
    phase = 2 * np.pi * np.arange(50 * samples_a_period) / samples_a_period
    assert share_on_extreme(5 + 0.02 * np.sin(phase)) == 0
