"""Ripple of waveforms whose figures are printed in reference tables.

Crest factors and peak-to-peak over RMS: a table of alternating waveforms
(freespace.virgin.net/richard.baker10/2008apps/relationship.htm, read), sine and sawtooth at RMS 1;
square 1, an encyclopaedia's table of crest factors (read). Rectified sine: mean 2/π = 0.637 of the
crest and ripple factor √(FF² − 1) with form factor FF, worked exercises on rectifiers (read).
Fourier coefficients of the rectified sine, 4/(π(4k² − 1)): from memory, standard mathematics.
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
        (SINE, 1.4142135623731, 2.8284271247462),
        (SAWTOOTH, 1.7320508075689, 3.4641016151378),
        (TRIANGLE, 1.7320508075689, 3.4641016151378),
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
