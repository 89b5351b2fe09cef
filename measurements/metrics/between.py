"""Values between measured operating points of a power supply. Nothing is extrapolated."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import PchipInterpolator

from measurements.metrics import FloatArray


def mean_by_load(nominal: FloatArray, *, values: FloatArray) -> FloatArray:
    """Mean of the values of each nominal load, in rising order of load.

    Parameters
    ----------
    nominal : ndarray of float
        Nominal load of every point. [%]
    values : ndarray of float
        A value of every point. [any unit]

    Returns
    -------
    means : ndarray of float
        One mean a load. [unit of `values`]

    Examples
    --------
    >>> mean_by_load(np.array([50.0, 25.0, 50.0]), values=np.array([3.0, 1.0, 5.0]))
    array([1., 4.])
    """
    return np.array([np.mean(values[nominal == load]) for load in np.unique(nominal)])


def monotone_between(at: float, *, x: FloatArray, y: FloatArray) -> float:
    """Value of the monotone piecewise cubic (PCHIP) through the points.

    Parameters
    ----------
    at : float
        Where the value is wanted. [unit of `x`]
    x : ndarray of float
        Abscissas, in any order; ordinates of equal ones are averaged. [any unit]
    y : ndarray of float
        Ordinates. [any unit]

    Returns
    -------
    value : float
        The value; that of the nearest point where `at` lies outside of them. [unit of `y`]

    References
    ----------
    .. [1] `common-practice`, the monotone cubic of F. N. Fritsch and R. E. Carlson, 1980.
    """
    # Output power can fall with rising current while a supply limits: neither order nor
    # difference of the abscissas is certain.
    distinct = np.unique(x)
    means = np.array([np.mean(y[x == abscissa]) for abscissa in distinct])
    if len(distinct) == 1:
        return float(means[0])
    # Between two loads of a limiting supply the power can top both by a little: no extrapolation.
    within = np.clip(at, distinct[0], distinct[-1])
    # A slope next to nothing overflows as a reciprocal, and gives the slope 0 that it stands for.
    with np.errstate(over="ignore"):
        return float(PchipInterpolator(distinct, means)(within))
