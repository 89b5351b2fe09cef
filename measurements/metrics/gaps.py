"""Where a log pauses, so that nothing is computed across the pause."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from measurements.metrics import FloatArray

BoolArray = NDArray[np.bool_]

# A logger that stalls shows as one interval far above the usual one; below ten seconds a charge
# hardly changes. Both are the project's own choice.
GAP_FACTOR = 5.0
SHORTEST_GAP_S = 10.0


def joined_intervals(time: FloatArray) -> BoolArray:
    """Which intervals between neighbouring readings are short enough to be joined.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]

    Returns
    -------
    joined : ndarray of bool
        One entry an interval, one fewer than readings: False for a gap, an interval longer than
        five times the median interval and longer than 10 s. [-]

    References
    ----------
    .. [1] `common-practice`: long gaps are marked and not bridged.

    Examples
    --------
    >>> joined_intervals(np.array([0.0, 1.0, 2.0, 60.0, 61.0])).tolist()
    [True, True, False, True]
    """
    intervals = np.diff(np.asarray(time, dtype=np.float64))
    if intervals.size == 0:
        return np.zeros(0, dtype=np.bool_)
    longest = max(GAP_FACTOR * float(np.median(intervals)), SHORTEST_GAP_S)
    return np.asarray(intervals <= longest, dtype=np.bool_)


def pieces(joined: BoolArray) -> tuple[tuple[int, int], ...]:
    """The stretches of readings that gaps leave.

    Parameters
    ----------
    joined : ndarray of bool
        Which intervals are no gaps, one fewer than readings. [-]

    Returns
    -------
    stretches : tuple of (int, int)
        First reading of each stretch, and the one after its last. [-]

    Examples
    --------
    >>> pieces(np.array([True, True, False, True]))
    ((0, 3), (3, 5))
    """
    starts = np.flatnonzero(~np.asarray(joined, dtype=np.bool_)) + 1
    edges = [0, *starts.tolist(), len(joined) + 1]
    return tuple(pairwise(edges))
