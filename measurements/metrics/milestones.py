"""When a level that is known now and then first reaches a target."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.gaps import BoolArray

# Steps in which levels are commonly shown, coarsest first: common practice.
_RESOLUTIONS = (10.0, 5.0, 1.0, 0.5, 0.1, 0.01)
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True)
class Crossing:
    """A first crossing of a level.

    Parameters
    ----------
    time : float
        When the straight line between the two readings around it meets the target. [s]
    interval : float
        Time between those readings. [s]
    slope : float
        Rise of the level around the crossing. [% per s]
    in_gap : bool
        Whether the log pauses between them, so that the time is not known. [-]
    """

    time: float
    interval: float
    slope: float
    in_gap: bool


def first_crossing(
    time: FloatArray, *, level: FloatArray, target: float, joined: BoolArray, span: float = 2.0
) -> Crossing | None:
    """The first moment at which a level reaches a target from below.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]
    level : ndarray of float
        Level at each of them, NaN where it is not known. [%]
    target : float
        Level to be reached. [%]
    joined : ndarray of bool
        Which intervals are no gaps, one fewer than readings. [-]
    span : float
        How far below and above the target the slope is taken. [%]

    Returns
    -------
    crossing : Crossing or None
        None when the level is never known to reach the target, or is there from the start.
        [s, % per s]

    References
    ----------
    .. [1] `common-practice`: linear interpolation at the first crossing.

    Examples
    --------
    >>> t, percent = np.array([0.0, 60.0, 120.0]), np.array([40.0, 48.0, 52.0])
    >>> first_crossing(t, level=percent, target=50.0, joined=np.array([True, True])).time
    90.0
    """
    known = np.flatnonzero(np.isfinite(level))
    levels = np.asarray(level, dtype=np.float64)[known]
    reached = np.flatnonzero(levels >= target)
    if reached.size == 0 or reached[0] == 0:
        return None
    moments = np.asarray(time, dtype=np.float64)[known]
    after = int(reached[0])
    before = after - 1
    share = (target - float(levels[before])) / (float(levels[after]) - float(levels[before]))
    interval = float(moments[after] - moments[before])
    return Crossing(
        time=float(moments[before]) + share * interval,
        interval=interval,
        slope=_slope(moments, levels=levels, after=after, low=target - span, high=target + span),
        in_gap=not bool(np.all(joined[known[before] : known[after]])),
    )


def level_resolution(level: FloatArray) -> float:
    """The step in which a level is shown.

    Parameters
    ----------
    level : ndarray of float
        Levels, NaN where not known. [%]

    Returns
    -------
    step : float
        Coarsest of 10, 5, 1, 0.5, 0.1 and 0.01 of which every level is a multiple; 0 when none
        fits, for a level that moves freely. [%]

    Examples
    --------
    >>> level_resolution(np.array([3.0, 4.0, 7.0]))
    1.0
    """
    known = np.asarray(level, dtype=np.float64)
    known = known[np.isfinite(known)]
    for step in _RESOLUTIONS:
        if np.all(np.abs(known - step * np.round(known / step)) < _ROUNDING):
            return step
    return 0.0


def _slope(
    moments: FloatArray, *, levels: FloatArray, after: int, low: float, high: float
) -> float:
    """Rise from the last reading at or under `low` to the first one at or over `high`."""
    under = np.flatnonzero(levels[:after] <= low)
    over = np.flatnonzero(levels[after:] >= high)
    first = int(under[-1]) if under.size else 0
    last = after + int(over[0]) if over.size else after
    return float(levels[last] - levels[first]) / float(moments[last] - moments[first])
