"""Integrals over time that count nothing inside a gap."""

from __future__ import annotations

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.gaps import BoolArray


def integral(time: FloatArray, *, y: FloatArray, joined: BoolArray) -> float:
    """Trapezoid over the joined intervals of a log.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing; spacing may vary. [s]
    y : ndarray of float
        The readings. [any unit]
    joined : ndarray of bool
        Which intervals count, one fewer than readings. Readings beside an interval that does
        not count may be NaN. [-]

    Returns
    -------
    area : float
        Sum of the trapezoids over the intervals that count. [unit of `y` times s]

    References
    ----------
    .. [1] `common-practice`: trapezoid over the real time stamps.

    Examples
    --------
    >>> joined = np.array([True, False])
    >>> integral(np.array([0.0, 2.0, 9.0]), y=np.array([1.0, 3.0, 5.0]), joined=joined)
    4.0
    """
    return float(np.sum(_trapezoids(time, y=y, joined=joined)))


def running_integral(time: FloatArray, *, y: FloatArray, joined: BoolArray) -> FloatArray:
    """Trapezoid from the first reading up to every reading.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]
    y : ndarray of float
        The readings. [any unit]
    joined : ndarray of bool
        Which intervals count, one fewer than readings. [-]

    Returns
    -------
    area : ndarray of float
        As many values as readings, 0 at the first; level over an interval that does not count.
        [unit of `y` times s]
    """
    return np.concatenate(([0.0], np.cumsum(_trapezoids(time, y=y, joined=joined))))


def joined_duration(time: FloatArray, *, joined: BoolArray) -> float:
    """Length of the intervals that count.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]
    joined : ndarray of bool
        Which intervals count, one fewer than readings. [-]

    Returns
    -------
    duration : float
        Sum of those intervals. [s]
    """
    return float(np.sum(np.diff(time)[joined]))


def _trapezoids(time: FloatArray, *, y: FloatArray, joined: BoolArray) -> FloatArray:
    readings = np.asarray(y, dtype=np.float64)
    areas = np.diff(time) * (readings[:-1] + readings[1:]) / 2
    return np.asarray(np.where(joined, areas, 0.0), dtype=np.float64)
