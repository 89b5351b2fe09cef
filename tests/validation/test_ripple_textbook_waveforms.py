"""Ripple of waveforms whose figures stand in every textbook of alternating currents.

From memory, standard mathematics, each derived here in one line. Over a period the mean of sin²
is 1/2 and that of x² for x from −1 to 1 is ∫x²dx/2 = 1/3, so that crest over RMS is √2 for a
sine, √3 for sawtooth and triangle, 1 for a square wave, and peak to peak is twice that. A
rectified sine has the mean ∫sin x dx/π = 2/π, the form factor FF = (1/√2)/(2/π), the ripple factor
√(FF² − 1) = 0.483 and the Fourier coefficients 4/(π(4k² − 1)).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from measurements.metrics import FloatArray
from measurements.metrics.ripple import crest_factor, peak_to_peak, root_mean_square
from measurements.metrics.spectrum import component_at, dominant_line

COUNT = 100_000
PHASE = 2 * np.pi * (np.arange(COUNT) + 0.5) / COUNT

SINE = np.sin(PHASE)
SAWTOOTH = PHASE / np.pi - 1
TRIANGLE = 2 * np.abs(SAWTOOTH) - 1
SQUARE = np.sign(SINE)

# Finite sampling misses the extremes by at most one part in the number of samples.
SAMPLING = 2 / COUNT


@pytest.mark.parametrize(
    ("waveform", "crest", "span"),
    [
        (SINE, math.sqrt(2), 2 * math.sqrt(2)),
        (SAWTOOTH, math.sqrt(3), 2 * math.sqrt(3)),
        (TRIANGLE, math.sqrt(3), 2 * math.sqrt(3)),
        (SQUARE, 1.0, 2.0),
    ],
    ids=["sine", "sawtooth", "triangle", "square"],
)
def test_crest_factor_and_peak_to_peak_at_an_rms_of_one(
    waveform: FloatArray, crest: float, span: float
) -> None:
    scaled = 12 + waveform / root_mean_square(waveform)
    assert root_mean_square(scaled) == pytest.approx(1, rel=1e-9)
    assert crest_factor(scaled) == pytest.approx(crest, rel=SAMPLING)
    assert peak_to_peak(scaled) == pytest.approx(span, rel=SAMPLING)


def test_the_ripple_factor_of_a_full_wave_rectifier() -> None:
    rectified = np.abs(SINE)
    mean = float(rectified.mean())
    assert mean == pytest.approx(0.637, abs=5e-4)
    form_factor = (math.sqrt(2) / 2) / (2 / math.pi)
    ripple_factor = root_mean_square(rectified) / mean
    assert ripple_factor == pytest.approx(math.sqrt(form_factor**2 - 1), rel=1e-6)
    assert ripple_factor == pytest.approx(0.483, abs=5e-4)


@pytest.mark.parametrize("harmonic", [1, 2, 3])
def test_the_components_of_a_rectified_mains_voltage(harmonic: int) -> None:
    # Five cycles of 50 Hz mains, one cycle of sine in COUNT samples of 20 ms.
    rate = COUNT / 0.02
    rectified = np.abs(np.sin(np.tile(PHASE, 5)))
    component = component_at(rectified, sample_rate=rate, frequency=harmonic * 100.0)
    assert component.amplitude == pytest.approx(4 / (math.pi * (4 * harmonic**2 - 1)), rel=1e-6)


def test_the_strongest_line_of_a_rectified_mains_voltage_is_twice_the_mains() -> None:
    rate = 20_000 / 0.02
    phase = 2 * np.pi * np.arange(400_000) / 20_000
    line = dominant_line(np.abs(np.sin(phase)), sample_rate=rate)
    assert line is not None
    assert line.frequency == pytest.approx(100, abs=0.01)
    # A₁²/2 over the variance 1/2 − 4/π².
    expected = (4 / (3 * math.pi)) ** 2 / 2 / (0.5 - 4 / math.pi**2)
    assert line.share == pytest.approx(expected, abs=1e-3)
