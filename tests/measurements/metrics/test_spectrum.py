"""Lines and components of a spectrum: closed forms and laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.spectrum import component_at, dominant_line

RATE = 10_000.0


def sine(frequency: float, *, count: int = 5000, amplitude: float = 1.0) -> FloatArray:
    return np.asarray(amplitude * np.sin(2 * np.pi * frequency * np.arange(count) / RATE + 0.7))


@pytest.mark.parametrize("frequency", [20.0, 131.3, 1000.0, 1001.0, 1001.9, 4321.09])
def test_the_line_of_a_sine_lies_between_the_bins(frequency: float) -> None:
    line = dominant_line(3 + sine(frequency), sample_rate=RATE)
    assert line is not None
    assert line.resolution == pytest.approx(2.0)
    # The bins are 2 Hz apart; what is left is the image at negative frequency.
    assert line.frequency == pytest.approx(frequency, abs=2e-3)
    assert line.share == pytest.approx(1, abs=1e-3)


def test_the_strongest_of_two_lines_is_taken_with_its_share() -> None:
    line = dominant_line(sine(700.0, amplitude=2) + sine(1900.0), sample_rate=RATE)
    assert line is not None
    assert line.frequency == pytest.approx(700, abs=0.01)
    # Power goes with the square of the amplitude: 4 of 4 + 1.
    assert line.share == pytest.approx(0.8, abs=1e-3)


def test_the_line_of_a_square_wave_is_its_fundamental() -> None:
    square = np.where(np.arange(5000) % 50 < 25, 1.0, -1.0)
    line = dominant_line(square, sample_rate=RATE)
    assert line is not None
    assert line.frequency == pytest.approx(200, abs=1e-3)
    # Fundamental 4/π of a square of one: (4/π)²/2 = 8/π² of the power, common textbook knowledge.
    # Sampled 50 times a period the alternating power is still one, the fundamental
    # 2/(25 sin(π/50)) instead of 4/π.
    assert line.share == pytest.approx(0.5 * (2 / (25 * math.sin(math.pi / 50))) ** 2, abs=1e-3)


def test_a_slow_drift_is_no_line() -> None:
    drift = np.linspace(0, 5, 5000)
    line = dominant_line(drift + sine(1500.0, amplitude=1.0), sample_rate=RATE)
    assert line is not None
    assert line.frequency == pytest.approx(1500, abs=0.1)


def test_a_line_at_half_the_sampling_frequency_is_found() -> None:
    line = dominant_line(np.tile([1.0, -1.0], 500), sample_rate=RATE)
    assert line is not None
    # Its neighbour is the only other bin of the window, half as large: the interpolation gives 0.
    assert line.frequency == pytest.approx(RATE / 2, abs=0.01)


@pytest.mark.parametrize("count", [4999, 5003, 10007])
def test_a_length_with_large_prime_factors_does_not_matter(count: int) -> None:
    line = dominant_line(sine(777.7, count=count), sample_rate=RATE)
    assert line is not None
    assert line.frequency == pytest.approx(777.7, abs=2e-3)


def test_a_constant_record_has_no_line() -> None:
    assert dominant_line(np.full(100, 0.1), sample_rate=RATE) is None


def test_a_spectrum_needs_samples_and_a_rate() -> None:
    with pytest.raises(ValueError, match="at least 8"):
        dominant_line(np.arange(7.0), sample_rate=RATE)
    with pytest.raises(ValueError, match="finite"):
        dominant_line(np.array([math.nan] * 10), sample_rate=RATE)
    with pytest.raises(ValueError, match="above zero"):
        dominant_line(np.arange(10.0), sample_rate=0.0)


@settings(max_examples=60, deadline=None)
@given(
    frequency=st.floats(50, 4900),
    gain=st.floats(1e-6, 1e3),
    shift=st.floats(-100, 100),
)
def test_a_line_does_not_move_with_scale_or_shift(
    frequency: float, gain: float, shift: float
) -> None:
    line = dominant_line(gain * (sine(frequency) + shift), sample_rate=RATE)
    assert line is not None
    assert line.frequency == pytest.approx(frequency, abs=0.02)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(8, 300))
def test_a_line_lies_in_the_spectrum_and_holds_a_part_of_the_power(seed: int, count: int) -> None:
    noise = np.random.default_rng(seed).normal(size=count)
    line = dominant_line(noise, sample_rate=RATE)
    assert line is not None
    assert 0 < line.frequency <= RATE / 2 + line.resolution
    assert 0 < line.share <= 1 + 1e-6


@pytest.mark.parametrize("frequency", [100.0, 123.4567])
def test_the_component_of_a_sine_is_its_amplitude(frequency: float) -> None:
    component = component_at(
        20 + sine(frequency, amplitude=0.004), sample_rate=RATE, frequency=frequency
    )
    assert component.amplitude == pytest.approx(0.004, rel=1e-9)
    assert component.amplitude_error == pytest.approx(0, abs=1e-9)


def test_other_harmonics_of_whole_periods_do_not_disturb_a_component() -> None:
    mixture = sine(100.0, amplitude=0.3) + sine(200.0) + sine(350.0) + 7
    component = component_at(mixture, sample_rate=RATE, frequency=100.0)
    assert component.amplitude == pytest.approx(0.3, rel=1e-9)


def test_the_standard_error_of_a_component_is_that_of_its_noise() -> None:
    # Amplitudes of many records with noise 0.1 must scatter by σ√(2/n), n = 400.
    generator = np.random.default_rng(8)
    components = [
        component_at(
            sine(250.0, count=400) + generator.normal(0, 0.1, 400),
            sample_rate=RATE,
            frequency=250.0,
        )
        for _ in range(500)
    ]
    expected = 0.1 * math.sqrt(2 / 400)
    scatter = float(np.std([component.amplitude for component in components]))
    # The scatter of 500 values is known to 3 %; four times that.
    assert scatter == pytest.approx(expected, rel=0.13)
    errors = float(np.mean([component.amplitude_error for component in components]))
    assert errors == pytest.approx(expected, rel=0.01)


def test_a_component_over_several_blocks_is_the_same() -> None:
    count = 600_000
    voltage = np.cos(2 * np.pi * 100 * np.arange(count) / 1e6)
    component = component_at(voltage, sample_rate=1e6, frequency=100.0)
    assert component.amplitude == pytest.approx(1, rel=1e-9)


def test_a_component_needs_a_period_and_a_frequency_that_is_there() -> None:
    with pytest.raises(ValueError, match="four samples"):
        component_at(np.arange(3.0), sample_rate=RATE, frequency=100.0)
    with pytest.raises(ValueError, match="shorter than one period"):
        component_at(np.arange(99.0), sample_rate=RATE, frequency=100.0)
    with pytest.raises(ValueError, match="cannot be seen"):
        component_at(np.arange(99.0), sample_rate=RATE, frequency=5000.0)
    with pytest.raises(ValueError, match="cannot be seen"):
        component_at(np.arange(99.0), sample_rate=RATE, frequency=0.0)


def test_the_components_of_a_record_add_up_to_its_power() -> None:
    # Parseval: over whole periods the mean square is the sum of A²/2 over all harmonics; the one
    # at half the sampling frequency, A² instead, is left out of the record.
    generator = np.random.default_rng(5)
    spectrum = np.fft.rfft(generator.normal(size=100))
    spectrum[0] = spectrum[-1] = 0
    record = np.fft.irfft(spectrum)
    powers = [
        component_at(record, sample_rate=RATE, frequency=harmonic * RATE / 100).amplitude ** 2 / 2
        for harmonic in range(1, 50)
    ]
    assert math.fsum(powers) == pytest.approx(float(np.mean(record**2)), rel=1e-9)
