"""Means of a log over stretches of time, each reading weighted by the time it stands for."""

from __future__ import annotations

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.gaps import BoolArray


def interval_means(
    time: FloatArray, *, y: FloatArray, joined: BoolArray, edges: FloatArray
) -> tuple[FloatArray, FloatArray]:
    r"""Mean of straight lines between readings, over each stretch from one edge to the next.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]
    y : ndarray of float
        The readings. [any unit]
    joined : ndarray of bool
        Which intervals are no gaps, one fewer than readings; nothing in a gap counts. [-]
    edges : ndarray of float
        Where the stretches begin and end, never decreasing; one more than stretches. [s]

    Returns
    -------
    means : ndarray of float
        One a stretch; NaN where no interval that counts lies in it. [unit of `y`]
    covered : ndarray of float
        How much of each stretch lies in intervals that count. [s]

    Notes
    -----
    .. math:: \bar y_k = \frac{1}{c_k} \int_{e_k}^{e_{k+1}} y(t)\, dt

    over the part c of the stretch that is covered, so that the spacing of the readings has no
    weight of its own.

    References
    ----------
    .. [1] `common-practice`: trapezoid over the real time stamps.

    Examples
    --------
    >>> time, watts = np.array([0.0, 4.0, 6.0]), np.array([0.0, 8.0, 8.0])
    >>> both = np.array([True, True])
    >>> means, covered = interval_means(time, y=watts, joined=both, edges=np.array([0.0, 2, 6]))
    >>> means.tolist(), covered.tolist()
    ([2.0, 7.0], [2.0, 4.0])
    """
    count = max(len(edges) - 1, 0)
    if count == 0 or len(time) < 2:
        return np.full(count, np.nan), np.zeros(count)
    within = edges[(edges > time[0]) & (edges < time[-1])]
    points = np.unique(np.concatenate((time, within)))
    left, right = points[:-1], points[1:]
    line = np.clip(np.searchsorted(time, left, side="right") - 1, 0, len(time) - 2)
    begins, ends = (_at(moments, line=line, time=time, y=y) for moments in (left, right))
    stretch = np.searchsorted(edges, left, side="right") - 1
    counts = joined[line] & (stretch >= 0) & (stretch < count)
    number, lengths = stretch[counts], (right - left)[counts]
    areas = lengths * (begins + ends)[counts] / 2
    covered, sums = (
        np.bincount(number, weights=weights, minlength=count).astype(np.float64)
        for weights in (lengths, areas)
    )
    means = np.full(count, np.nan)
    np.divide(sums, covered, out=means, where=covered > 0)
    # Over a stretch too short to be multiplied by without loss, the quotient may leave the range.
    return np.clip(means, np.fmin.reduce(y), np.fmax.reduce(y)), covered


def _at(moments: FloatArray, *, line: np.ndarray, time: FloatArray, y: FloatArray) -> FloatArray:
    """Values at `moments`, each on the line that begins with the reading of that number."""
    lengths = time[line + 1] - time[line]
    shares = np.divide(moments - time[line], lengths, out=np.zeros_like(lengths), where=lengths > 0)
    return np.asarray(y[line] * (1 - shares) + y[line + 1] * shares, dtype=np.float64)
