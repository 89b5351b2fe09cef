"""Ripple against the signal processing of a reference library, SciPy, on the same data.

SciPy's `signal` and `fft` modules, its documented functions: `butter` with `sosfiltfilt` for the
zero-phase filter, `freqz_sos` for its response, `periodogram` for spectra. The worked example of
the documentation of `periodogram` (from memory) is a sine of 2√2 V at 1234 Hz in white noise of
0.001 V²/Hz, sampled at 10 kHz, 100 000 samples; the RMS that the page reads off its peak is 2 V.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from measurements.metrics import FloatArray
from measurements.metrics.filters import band_limited, settling_samples
from measurements.metrics.ripple import peak_to_peak, root_mean_square
from measurements.metrics.spectrum import component_at, dominant_line

CUTOFF = 20e6


def switching_ripple(*, rate: float, count: int) -> FloatArray:
    """A ramp at 130 kHz with ringing spikes, and noise, on 20 V."""
    time = np.arange(count) / rate
    phase = (time * 130e3) % 1
    ringing = np.exp(-phase * 60) * np.sin(2 * np.pi * 45e6 * phase / 130e3)
    noise = np.random.default_rng(20).normal(0, 0.002, count)
    return np.asarray(20 + 0.03 * phase + 0.04 * ringing + noise)


@pytest.mark.parametrize("rate", [50e6, 100e6, 1e9])
def test_the_filter_is_that_of_the_reference_without_padding(rate: float) -> None:
    voltage = switching_ripple(rate=rate, count=700_000)
    sections = signal.butter(4, CUTOFF, fs=rate, output="sos")
    expected = signal.sosfiltfilt(sections, voltage, padtype=None)
    ours = band_limited(voltage, sample_rate=rate, cutoff=CUTOFF)
    # Same arithmetic in blocks: rounding only, on 20 V.
    assert np.abs(ours - expected).max() < 1e-11


@pytest.mark.parametrize("rate", [50e6, 100e6, 1e9])
def test_inside_the_ends_the_padding_of_the_reference_makes_no_difference(rate: float) -> None:
    voltage = switching_ripple(rate=rate, count=100_000)
    sections = signal.butter(4, CUTOFF, fs=rate, output="sos")
    ends = settling_samples(sample_rate=rate, cutoff=CUTOFF)
    expected = signal.sosfiltfilt(sections, voltage)[ends:-ends]
    ours = band_limited(voltage, sample_rate=rate, cutoff=CUTOFF)[ends:-ends]
    # A millionth of a ripple of 0.1 V.
    assert np.abs(ours - expected).max() < 1e-7
    assert peak_to_peak(ours) == pytest.approx(float(np.ptp(expected)), abs=1e-7)
    assert root_mean_square(ours) == pytest.approx(float(np.std(expected)), abs=1e-8)


def test_an_impulse_has_the_squared_response_of_the_reference() -> None:
    rate, count = 200e6, 4096
    impulse = np.zeros(count)
    impulse[count // 2] = 1
    response = np.abs(np.fft.rfft(band_limited(impulse, sample_rate=rate, cutoff=CUTOFF)))
    sections = signal.butter(4, CUTOFF, fs=rate, output="sos")
    _, once = signal.freqz_sos(sections, worN=np.fft.rfftfreq(count, 1 / rate), fs=rate)
    assert response == pytest.approx(np.abs(once) ** 2, abs=1e-9)


def test_the_strongest_line_is_the_peak_of_the_references_periodogram() -> None:
    rate = 100e6
    voltage = switching_ripple(rate=rate, count=200_000)
    frequencies, power = signal.periodogram(voltage, fs=rate, window="hann", scaling="spectrum")
    line = dominant_line(voltage, sample_rate=rate)
    assert line is not None
    assert line.resolution == pytest.approx(frequencies[1])
    assert abs(line.frequency - frequencies[np.argmax(power)]) <= line.resolution / 2
    assert line.frequency == pytest.approx(130e3, abs=line.resolution / 20)


def test_the_share_of_a_line_is_that_of_the_references_density() -> None:
    # Parseval: the density integrates to the power, ± 2 bins around the line to its part.
    rate = 100e6
    voltage = switching_ripple(rate=rate, count=200_000)
    _, density = signal.periodogram(voltage, fs=rate, window="hann")
    peak = int(np.argmax(density))
    line = dominant_line(voltage, sample_rate=rate)
    assert line is not None
    # The one-sided density doubles every bin but the last; single precision on our side.
    expected = float(density[peak - 2 : peak + 3].sum() / density[1:].sum())
    assert line.share == pytest.approx(expected, rel=1e-4)


def test_the_documented_example_of_the_periodogram() -> None:
    rate, count, frequency = 10e3, 100_000, 1234.0
    noise = np.random.default_rng(1234).normal(0, math.sqrt(0.001 * rate / 2), count)
    voltage = 2 * math.sqrt(2) * np.sin(2 * np.pi * frequency * np.arange(count) / rate) + noise
    line = dominant_line(voltage, sample_rate=rate)
    assert line is not None
    # Noise moves the interpolated line by a small part of a bin of 0.1 Hz.
    assert line.frequency == pytest.approx(frequency, abs=0.01)
    component = component_at(voltage, sample_rate=rate, frequency=frequency)
    # Four standard errors; noise of √5 V over 100 000 samples gives 0.01 V.
    assert component.amplitude_error == pytest.approx(math.sqrt(5 * 2 / count), rel=0.02)
    assert abs(component.amplitude - 2 * math.sqrt(2)) < 4 * component.amplitude_error
    # Powers add: 2² of the sine and 5 of the noise.
    assert root_mean_square(voltage) == pytest.approx(3, rel=0.01)
