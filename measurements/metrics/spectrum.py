"""Which frequencies a sampled voltage is made of."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from measurements.metrics import FloatArray

_BLOCK = 1 << 18
_SHORTEST = 8

# A line that is not at least two bins of a Hann window away from zero is a drift, not a line.
_FIRST_BIN = 2


@dataclass(frozen=True, slots=True)
class SpectralLine:
    """The strongest line of a spectrum.

    Parameters
    ----------
    frequency : float
        Where it lies, between the bins. [Hz]
    resolution : float
        Distance of two bins, the inverse of the record's length. [Hz]
    share : float
        Part of the alternating power that lies in this line, 0 to 1. [-]
    """

    frequency: float
    resolution: float
    share: float


@dataclass(frozen=True, slots=True)
class Component:
    """A sine of known frequency in a record.

    Parameters
    ----------
    amplitude : float
        Half its peak-to-peak value. [V]
    amplitude_error : float
        Standard error of the amplitude from the scatter around the sine. [V]
    """

    amplitude: float
    amplitude_error: float


def dominant_line(voltage: FloatArray, *, sample_rate: float) -> SpectralLine | None:
    r"""The strongest spectral line of a record.

    Parameters
    ----------
    voltage : ndarray of float
        Evenly spaced samples, eight or more. [V]
    sample_rate : float
        Sampling frequency. [Hz]

    Returns
    -------
    line : SpectralLine or None
        The strongest line from two periods a record upward; None when all samples are equal.
        [Hz]

    Raises
    ------
    ValueError
        If there are fewer than eight samples, one is not finite, or the sampling frequency is not
        above zero.

    Notes
    -----
    The mean is removed and a Hann window laid over the record. The line lies between the largest
    bin k and its larger neighbour; with the ratio α of their magnitudes, at a distance of

    .. math:: \delta = \frac{2 \alpha - 1}{\alpha + 1}

    bins from k, which is exact for a single sine far from zero and from half the sampling
    frequency. A few samples at the end are left out so that the length has small prime factors.
    The transform works in single precision, on a record scaled to one: it only has to tell which
    bin is largest and by how much, and a long record then costs half the memory.

    References
    ----------
    .. [1] `common-practice`: windowed transform, peak interpolated between two bins.

    Examples
    --------
    >>> time = np.arange(1000) / 1000
    >>> line = dominant_line(np.sin(2 * np.pi * 123.4 * time), sample_rate=1000.0)
    >>> round(line.frequency, 2)
    123.4
    """
    samples = np.asarray(voltage, dtype=np.float64)
    if samples.size < _SHORTEST:
        raise ValueError(f"A spectrum needs at least {_SHORTEST} samples.")
    if not (sample_rate > 0 and math.isfinite(float(samples.sum()))):
        raise ValueError("A spectrum needs finite samples and a sampling frequency above zero.")
    if samples.max() == samples.min():
        return None
    used = samples[: scipy.fft.prev_fast_len(samples.size, real=True)]
    magnitude = np.abs(scipy.fft.rfft(_windowed(used), overwrite_x=True))
    peak = _FIRST_BIN + int(np.argmax(magnitude[_FIRST_BIN:]))
    if magnitude[peak] == 0:
        return None
    resolution = sample_rate / used.size
    return SpectralLine(
        frequency=(peak + _offset(magnitude, peak)) * resolution,
        resolution=resolution,
        share=_power(magnitude[max(peak - 2, 1) : peak + 3]) / _power(magnitude[1:]),
    )


def component_at(voltage: FloatArray, *, sample_rate: float, frequency: float) -> Component:
    r"""The sine of a given frequency that fits a record best.

    Parameters
    ----------
    voltage : ndarray of float
        Evenly spaced samples, four or more, best over a whole number of periods. [V]
    sample_rate : float
        Sampling frequency. [Hz]
    frequency : float
        Of the sine, below half the sampling frequency. [Hz]

    Returns
    -------
    component : Component
        Amplitude and its standard error. [V]

    Raises
    ------
    ValueError
        If there are fewer than four samples, the record does not hold one period, or the frequency
        does not lie between 0 and half the sampling frequency.

    Notes
    -----
    Least squares of a constant, a cosine and a sine, whose frequency need not lie on a bin:

    .. math:: v(t) = c + a \cos 2 \pi f t + b \sin 2 \pi f t, \quad A = \sqrt{a^2 + b^2}, \quad
              u(A) = s \sqrt{2 / n}

    The standard error takes what is left over as independent from sample to sample; a periodic
    remainder is not, and over whole periods then disturbs far less than this says.

    References
    ----------
    .. [1] `common-practice`: sine of known frequency fitted with three parameters.
    """
    samples = np.asarray(voltage, dtype=np.float64)
    if samples.size < 4:
        raise ValueError("A sine needs at least four samples.")
    if not 0 < frequency < sample_rate / 2:
        raise ValueError(
            f"A sine of {frequency:g} Hz cannot be seen in samples taken at {sample_rate:g} Hz."
        )
    if samples.size < sample_rate / frequency * (1 - 1e-9):
        raise ValueError(f"The record is shorter than one period of {frequency:g} Hz.")
    mean = float(samples.mean())
    products = np.zeros((3, 3))
    moments = np.zeros(3)
    squares = 0.0
    for start in range(0, samples.size, _BLOCK):
        block = samples[start : start + _BLOCK] - mean
        angle = 2 * np.pi * frequency / sample_rate * np.arange(start, start + block.size)
        model = np.vstack([np.ones(block.size), np.cos(angle), np.sin(angle)])
        products += model @ model.T
        moments += model @ block
        squares += float(block @ block)
    coefficients = np.linalg.solve(products, moments)
    left_over = max(squares - float(coefficients @ moments), 0.0)
    deviation = math.sqrt(left_over / (samples.size - 3))
    return Component(
        amplitude=math.hypot(coefficients[1], coefficients[2]),
        amplitude_error=deviation * math.sqrt(2 / samples.size),
    )


def _windowed(samples: FloatArray) -> NDArray[np.float32]:
    """The samples without their mean under a periodic Hann window, scaled, block by block."""
    mean = float(samples.mean())
    largest = max(float(samples.max()) - mean, mean - float(samples.min()))
    windowed = np.empty(samples.size, dtype=np.float32)
    for start in range(0, samples.size, _BLOCK):
        block = samples[start : start + _BLOCK]
        angle = 2 * np.pi / samples.size * np.arange(start, start + block.size)
        window = 0.5 - 0.5 * np.cos(angle)
        windowed[start : start + _BLOCK] = (block - mean) / largest * window
    return windowed


def _power(magnitude: NDArray[np.float32]) -> float:
    return float(np.sum(np.square(magnitude), dtype=np.float64))


def _offset(magnitude: NDArray[np.float32], peak: int) -> float:
    """Distance of the line from its largest bin, in bins."""
    before = float(magnitude[peak - 1])
    after = float(magnitude[peak + 1]) if peak + 1 < magnitude.size else 0.0
    ratio = max(before, after) / float(magnitude[peak])
    return math.copysign(max(2 * ratio - 1, 0.0) / (ratio + 1), after - before)
