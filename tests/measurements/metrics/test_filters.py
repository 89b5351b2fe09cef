"""The zero-phase low-pass: passes what lies below, stops what lies above, shifts nothing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.filters import band_limited, settling_samples

RATE = 500e6
CUTOFF = 20e6
ENDS = settling_samples(sample_rate=RATE, cutoff=CUTOFF)
COUNT = 5000
TIME = np.arange(COUNT) / RATE


def inner(values: FloatArray) -> FloatArray:
    return values[ENDS:-ENDS]


def test_a_constant_passes_unchanged_even_at_the_ends() -> None:
    voltage = np.full(300, 20.0)
    assert band_limited(voltage, sample_rate=RATE, cutoff=CUTOFF) == pytest.approx(voltage)


def test_the_record_given_is_not_changed() -> None:
    voltage = np.sin(TIME * 3e8)
    before = voltage.copy()
    band_limited(voltage, sample_rate=RATE, cutoff=CUTOFF)
    assert np.array_equal(voltage, before)


@pytest.mark.parametrize("frequency", [100e3, 5e6, 10e6, 20e6, 40e6])
def test_a_sine_is_attenuated_by_the_closed_form_and_not_shifted(frequency: float) -> None:
    voltage = np.cos(2 * np.pi * frequency * TIME)
    warped = math.tan(math.pi * frequency / RATE) / math.tan(math.pi * CUTOFF / RATE)
    gain = 1 / (1 + warped**8)
    limited = band_limited(voltage, sample_rate=RATE, cutoff=CUTOFF)
    assert inner(limited) == pytest.approx(gain * inner(voltage), abs=2e-6)


def test_the_ends_settle_as_promised() -> None:
    # A sine that starts at its steepest disturbs the start most.
    voltage = np.sin(2 * np.pi * 1e6 * TIME)
    difference = np.abs(band_limited(voltage, sample_rate=RATE, cutoff=CUTOFF) - voltage)
    assert difference[0] > 1e-3
    assert difference[ENDS:-ENDS].max() < 2e-6


@pytest.mark.parametrize("rate", [41e6, 100e6, 1e9, 20e9])
def test_the_ends_last_until_the_slowest_pole_has_died_away(rate: float) -> None:
    # Slowest poles of a fourth-order Butterworth: Ω(−sin π/8 ± j cos π/8), here with
    # Ω = tan(π f_c / f_s), and z = (1 + s)/(1 − s) by the bilinear transformation.
    pole = math.tan(math.pi * CUTOFF / rate) * complex(
        -math.sin(math.pi / 8), math.cos(math.pi / 8)
    )
    radius = abs((1 + pole) / (1 - pole))
    count = settling_samples(sample_rate=rate, cutoff=CUTOFF)
    assert radius**count <= 1e-6 < radius ** (count - 1)


def test_a_long_record_does_not_show_the_blocks_it_is_filtered_in() -> None:
    # More than two blocks; a sine well inside the band comes out as it went in.
    count = 600_001
    voltage = np.sin(2 * np.pi * 1.234e6 * np.arange(count) / RATE)
    limited = band_limited(voltage, sample_rate=RATE, cutoff=CUTOFF)
    assert np.abs(inner(limited - voltage)).max() < 2e-6


@pytest.mark.parametrize("cutoff", [0.0, -1.0, RATE / 2, RATE, math.nan])
def test_a_cut_off_beyond_half_the_sampling_frequency_is_refused(cutoff: float) -> None:
    with pytest.raises(ValueError, match="cut-off"):
        band_limited(np.zeros(10), sample_rate=RATE, cutoff=cutoff)
    with pytest.raises(ValueError, match="cut-off"):
        settling_samples(sample_rate=RATE, cutoff=cutoff)


def test_an_empty_record_is_refused() -> None:
    with pytest.raises(ValueError, match="no sample"):
        band_limited(np.array([]), sample_rate=RATE, cutoff=CUTOFF)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), gain=st.floats(-10, 10), shift=st.floats(-50, 50))
def test_the_filter_is_linear_and_blind_to_a_shift(seed: int, gain: float, shift: float) -> None:
    voltage = np.random.default_rng(seed).normal(size=400)
    changed = band_limited(gain * voltage + shift, sample_rate=RATE, cutoff=CUTOFF)
    plain = band_limited(voltage, sample_rate=RATE, cutoff=CUTOFF)
    assert changed == pytest.approx(gain * plain + shift, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_time_may_run_either_way(seed: int) -> None:
    voltage = np.random.default_rng(seed).normal(size=2000)
    forward = band_limited(voltage, sample_rate=RATE, cutoff=CUTOFF)
    backward = band_limited(voltage[::-1], sample_rate=RATE, cutoff=CUTOFF)[::-1]
    assert inner(forward) == pytest.approx(inner(backward), abs=1e-5)
