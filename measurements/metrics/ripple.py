"""How large the ripple of a sampled voltage is."""

from __future__ import annotations

import math

import numpy as np

from measurements.metrics import FloatArray

_BLOCK = 1 << 18

# Two samples of one converter level may differ by the rounding of their unit, no more.
_SAME_LEVEL = 1e-6

_FLAT_RATIO = 4


def peak_to_peak(voltage: FloatArray) -> float:
    r"""Distance between the highest and the lowest sample.

    Parameters
    ----------
    voltage : ndarray of float
        Samples at constant load, limited in bandwidth beforehand. [V]

    Returns
    -------
    ripple : float
        Peak-to-peak ripple. [V]

    Raises
    ------
    ValueError
        If there is no sample, or one is not finite.

    Notes
    -----
    .. math:: V_{pp} = \max v - \min v

    Every sample counts, so that the value grows with the length of a noisy record.

    References
    ----------
    .. [1] `common-practice`: peak to peak over a stated window and bandwidth.

    Examples
    --------
    >>> peak_to_peak(np.array([5.01, 4.98, 5.0])).__round__(6)
    0.03
    """
    samples = _samples(voltage)
    return float(samples.max() - samples.min())


def root_mean_square(voltage: FloatArray) -> float:
    r"""Root of the mean square of the samples around their mean.

    Parameters
    ----------
    voltage : ndarray of float
        Samples over a whole number of periods, or over many of them. [V]

    Returns
    -------
    ripple : float
        RMS ripple; the constant part does not count. [V]

    Raises
    ------
    ValueError
        If there is no sample, or one is not finite.

    Notes
    -----
    .. math:: V_{rms} = \sqrt{\frac{1}{n} \sum (v - \bar v)^2}

    References
    ----------
    .. [1] `common-practice`: alternating part only, as behind an AC coupling.

    Examples
    --------
    >>> root_mean_square(np.array([4.0, 6.0, 4.0, 6.0]))
    1.0
    """
    samples = _samples(voltage)
    return _deviation(samples, mean=float(samples.mean()))


def crest_factor(voltage: FloatArray) -> float | None:
    r"""Largest distance from the mean over the RMS around it.

    Parameters
    ----------
    voltage : ndarray of float
        Samples over a whole number of periods, or over many of them. [V]

    Returns
    -------
    crest : float or None
        1 for a square wave, √2 for a sine, √3 for a ramp, more for narrow spikes; None when all
        samples are equal. [-]

    Raises
    ------
    ValueError
        If there is no sample, or one is not finite.

    Notes
    -----
    .. math:: C = \frac{\max |v - \bar v|}{V_{rms}}

    References
    ----------
    .. [1] `common-practice`: peak over RMS of the alternating part.

    Examples
    --------
    >>> crest_factor(np.array([4.0, 6.0, 4.0, 6.0]))
    1.0
    """
    samples = _samples(voltage)
    if samples.max() == samples.min():
        return None
    mean = float(samples.mean())
    peak = max(float(samples.max()) - mean, mean - float(samples.min()))
    deviation = _deviation(samples, mean=mean)
    return peak / deviation if deviation > 0 else None


def share_on_extreme(voltage: FloatArray) -> float:
    """Share of a record that is pressed flat against its highest or lowest value.

    Parameters
    ----------
    voltage : ndarray of float
        Samples as the converter gave them, before any filter. [V]

    Returns
    -------
    share : float
        Share of the samples that lie on the fuller of the two extremes, 0 when that extreme holds
        no more samples than a waveform that merely turns round there would leave. [-]

    Raises
    ------
    ValueError
        If there is no sample, or one is not finite.

    Notes
    -----
    A converter of few bits puts many samples of a sound sine on its topmost level, about 2.4 times
    as many as on the level next to it: the level of the turning point holds a time in proportion
    to √1, the next one to √2 − √1. A clipped one has many times more on the last level than on the
    next. Four times is the bound, and the project's own choice; a waveform of two levels only, a
    square wave, has as many on either and does not count as clipped.

    References
    ----------
    .. [1] `common-practice`: a flat top at the end of the range is a clipped record.

    Examples
    --------
    >>> share_on_extreme(np.array([0.0, 1.0, 2.0, 2.0, 2.0, 2.0, 2.0, 1.0]))
    0.0
    >>> share_on_extreme(np.array([0.0, 1.0, 2.0, 2.0, 2.0, 2.0, 2.0, 0.5]))
    0.625
    """
    samples = _samples(voltage)
    low, high = float(samples.min()), float(samples.max())
    if low == high:
        return 0.0
    same = _SAME_LEVEL * (high - low)
    below_high = float(np.max(samples, where=samples < high - same, initial=low))
    above_low = float(np.min(samples, where=samples > low + same, initial=high))
    shares = []
    for extreme, neighbour in ((high, below_high), (low, above_low)):
        on_it = _count_near(samples, extreme, within=same)
        beside = _count_near(samples, neighbour, within=same)
        shares.append(on_it / samples.size if on_it > _FLAT_RATIO * beside else 0.0)
    return max(shares)


def _samples(voltage: FloatArray) -> FloatArray:
    samples = np.asarray(voltage, dtype=np.float64)
    # The sum is finite only if every sample is, save for an overflow that no voltage comes near.
    if samples.size == 0 or not math.isfinite(float(samples.sum())):
        raise ValueError("Ripple needs samples, all of them finite.")
    return samples


def _deviation(samples: FloatArray, *, mean: float) -> float:
    """Population standard deviation, block by block: a long record is not copied."""
    squares = 0.0
    for start in range(0, samples.size, _BLOCK):
        block = samples[start : start + _BLOCK] - mean
        squares += float(block @ block)
    return math.sqrt(squares / samples.size)


def _count_near(samples: FloatArray, level: float, *, within: float) -> int:
    return int(np.count_nonzero((samples >= level - within) & (samples <= level + within)))
