"""Limiting a sampled voltage to a bandwidth without shifting it in time."""

from __future__ import annotations

import math

import numpy as np
import scipy

from measurements.metrics import FloatArray

ORDER = 4

# What is left of the ends' disturbance where the record is taken into account.
_LEFT_OF_DISTURBANCE = 1e-6

_BLOCK = 1 << 18


def band_limited(voltage: FloatArray, *, sample_rate: float, cutoff: float) -> FloatArray:
    r"""The record behind a low-pass filter that is run forward and backward.

    Parameters
    ----------
    voltage : ndarray of float
        Evenly spaced samples. [V]
    sample_rate : float
        Sampling frequency. [Hz]
    cutoff : float
        Frequency at which one pass has fallen by 3 dB, below half the sampling frequency. [Hz]

    Returns
    -------
    limited : ndarray of float
        As many samples, not shifted in time; those within `settling_samples` of either end are
        disturbed. [V]

    Raises
    ------
    ValueError
        If `cutoff` does not lie between 0 and half the sampling frequency, or there is no sample.

    Notes
    -----
    A digital Butterworth filter of fourth order, once in each direction. The delays cancel and
    the attenuations multiply, with f_w the frequency warped by the bilinear transformation:

    .. math:: |H(f)| = \frac{1}{1 + (f_w / f_{w,c})^8}, \quad f_w = \tan(\pi f / f_s)

    At `cutoff` the whole is 6 dB down, not 3. Either pass starts as if the first sample had
    stood there for ever. It works block by block, so that a long record costs one copy of itself.

    References
    ----------
    .. [1] `common-practice`: ripple is measured in a bandwidth of 20 MHz.
    """
    sections = scipy.signal.butter(
        ORDER, _checked(cutoff, sample_rate), fs=sample_rate, output="sos"
    )
    limited = np.array(voltage, dtype=np.float64)
    if limited.size == 0:
        raise ValueError("There is no sample to filter.")
    _filter_in_place(limited, sections)
    _filter_in_place(limited[::-1], sections)
    return limited


def settling_samples(*, sample_rate: float, cutoff: float) -> int:
    """Number of samples at either end of `band_limited` that its start disturbs.

    Parameters
    ----------
    sample_rate : float
        Sampling frequency. [Hz]
    cutoff : float
        As for `band_limited`. [Hz]

    Returns
    -------
    count : int
        Samples until the slowest part of the filter's answer has fallen to a millionth. [-]

    Raises
    ------
    ValueError
        If `cutoff` does not lie between 0 and half the sampling frequency.

    Notes
    -----
    A pole p dies away as \\|p\\|ⁿ; the pole nearest to the unit circle decides. With 20 MHz that is
    about 0.3 µs.

    References
    ----------
    .. [1] `common-practice`: the disturbed ends of a filtered record are left out.
    """
    _, poles, _ = scipy.signal.butter(
        ORDER, _checked(cutoff, sample_rate), fs=sample_rate, output="zpk"
    )
    slowest = float(np.max(np.abs(poles)))
    return math.ceil(math.log(_LEFT_OF_DISTURBANCE) / math.log(slowest))


def _checked(cutoff: float, sample_rate: float) -> float:
    if not 0 < cutoff < sample_rate / 2:
        raise ValueError(
            f"A cut-off of {cutoff:g} Hz does not lie below half of {sample_rate:g} Hz."
        )
    return cutoff


def _filter_in_place(samples: FloatArray, sections: FloatArray) -> None:
    state = scipy.signal.sosfilt_zi(sections) * samples[0]
    for start in range(0, samples.size, _BLOCK):
        block = samples[start : start + _BLOCK]
        block[:], state = scipy.signal.sosfilt(sections, block, zi=state)
