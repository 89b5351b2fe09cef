"""Standard uncertainties of instruments, of repeated readings, and of what follows from them.

Everything here is a standard uncertainty (k = 1); `measurements.metrics.decision` expands it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from measurements.metrics import FloatArray

# Which set of `with_errors` holds the readings without any shift.
AS_READ = 0


@dataclass(frozen=True, slots=True)
class ErrorSource:
    """One instrument's error, the same in sign and degree at every point of a quantity.

    Parameters
    ----------
    quantity : str
        Key of the values that the instrument gave. [-]
    uncertainty : ndarray of float
        Standard uncertainty at every point of that quantity. [unit of the quantity]
    """

    quantity: str
    uncertainty: FloatArray


def rectangular(limit: float) -> float:
    """Standard uncertainty of an error known only to lie within ±limit.

    Parameters
    ----------
    limit : float
        Half-width of the interval. [any unit]

    Returns
    -------
    uncertainty : float
        Limit over √3. [unit of `limit`]

    References
    ----------
    .. [1] `jcgm-100`, 2008, 4.3.7, equation (7).

    Examples
    --------
    >>> round(rectangular(0.3), 4)
    0.1732
    """
    return limit / math.sqrt(3)


def accuracy_uncertainty(values: FloatArray, *, reading_percent: float, fixed: float) -> FloatArray:
    """Standard uncertainty of readings from an instrument's accuracy specification.

    Parameters
    ----------
    values : ndarray of float
        Readings. [unit of the readings]
    reading_percent : float
        Part of the accuracy that grows with the reading's size. [%]
    fixed : float
        Part of the accuracy that does not. [unit of the readings]

    Returns
    -------
    uncertainty : ndarray of float
        ``(reading_percent/100 · |value| + fixed) / √3`` for each reading; NaN stays NaN.
        [unit of the readings]

    Notes
    -----
    An accuracy statement is a bound without a distribution, therefore rectangular [1]_.

    References
    ----------
    .. [1] `jcgm-100`, 2008, 4.3.7.
    """
    bounds = np.abs(np.asarray(values, dtype=np.float64)) * (reading_percent / 100) + fixed
    return np.asarray(bounds / math.sqrt(3), dtype=np.float64)


def root_sum_square(components: Iterable[float]) -> float:
    """Independent standard uncertainties combined in quadrature.

    Parameters
    ----------
    components : iterable of float
        Contributions to one result, each already in the result's unit. [unit of the result]

    Returns
    -------
    uncertainty : float
        Square root of the sum of squares; 0 for no component. [unit of the result]

    References
    ----------
    .. [1] `jcgm-100`, 2008, 5.1.2, equation (10).

    Examples
    --------
    >>> root_sum_square([3.0, 4.0])
    5.0
    """
    return math.hypot(*components)


def standard_error(samples: FloatArray) -> float:
    """Standard uncertainty of the mean of repeated readings (type A).

    Parameters
    ----------
    samples : ndarray of float
        Repeated readings of one quantity. [any unit]

    Returns
    -------
    uncertainty : float
        ``s/√n`` with n − 1 degrees of freedom; 0 for fewer than two readings, from which no
        scatter can be seen; NaN when a reading is NaN. [unit of the readings]

    Notes
    -----
    Valid for readings that do not depend on one another. Neighbouring samples of a slow
    signal do, and the true uncertainty of their mean is then larger.

    References
    ----------
    .. [1] `jcgm-100`, 2008, 4.2.3, equation (5).
    """
    readings = np.asarray(samples, dtype=np.float64)
    if readings.size < 2:
        return 0.0
    # From the first reading on: equal readings have no scatter, not even that of rounding.
    return float(np.std(readings - readings[0], ddof=1) / math.sqrt(readings.size))


def with_errors(
    values: Mapping[str, FloatArray], sources: Sequence[ErrorSource]
) -> dict[str, FloatArray]:
    """Sets of readings, one a row: as they were read, then shifted by each source's error.

    Parameters
    ----------
    values : mapping of str to ndarray of float
        Quantity → its measured points. [unit of each quantity]
    sources : sequence of ErrorSource
        The instruments' errors, independent of one another. [unit of each quantity]

    Returns
    -------
    sets : dict of str to ndarray of float
        Quantity → sets × points: the set `AS_READ`, then for each source two sets in which the
        points of its quantity stand higher and lower by its uncertainty. [unit of each quantity]

    Raises
    ------
    KeyError
        If a source names a quantity that `values` does not hold.

    Notes
    -----
    A computation that runs along the last axis gives all its results at once, from which
    `error_of_sets` has the uncertainty: the same as `propagate`, without one call a set.

    Examples
    --------
    >>> source = ErrorSource("voltage", np.array([0.5]))
    >>> with_errors({"voltage": np.array([20.0])}, [source])["voltage"].ravel()
    array([20. , 20.5, 19.5])
    """
    count = 1 + 2 * len(sources)
    sets = {
        quantity: np.repeat(np.asarray(points, dtype=np.float64)[np.newaxis], count, axis=0)
        for quantity, points in values.items()
    }
    for number, source in enumerate(sources):
        sets[source.quantity][2 * number + 1] += source.uncertainty
        sets[source.quantity][2 * number + 2] -= source.uncertainty
    return sets


def error_of_sets(results: FloatArray) -> float:
    """Standard uncertainty of a result that was computed for every set of `with_errors`.

    Parameters
    ----------
    results : ndarray of float
        The result of each set, in the order of the sets. [any unit]

    Returns
    -------
    uncertainty : float
        Half the difference between each source's two results, in quadrature; 0 without a source.
        [unit of the results]

    References
    ----------
    .. [1] `jcgm-100`, 2008, 5.1.2 and 5.1.3 note 2.

    Examples
    --------
    >>> error_of_sets(np.array([20.0, 23.0, 17.0, 24.0, 16.0]))
    5.0
    """
    return root_sum_square(((results[1::2] - results[2::2]) / 2).tolist())


def propagate(
    function: Callable[[Mapping[str, FloatArray]], float],
    values: Mapping[str, FloatArray],
    sources: Sequence[ErrorSource],
) -> float:
    r"""Standard uncertainty of a result computed from several points of several quantities.

    Parameters
    ----------
    function : callable
        The computation: quantity → points in, one number out. [-]
    values : mapping of str to ndarray of float
        Quantity → its measured points. [unit of each quantity]
    sources : sequence of ErrorSource
        The instruments' errors, independent of one another. [unit of each quantity]

    Returns
    -------
    uncertainty : float
        Standard uncertainty of the function's value. [unit of the result]

    Raises
    ------
    KeyError
        If a source names a quantity that `values` does not hold.

    Notes
    -----
    .. math:: u^2 = \sum_s \left(\frac{f(x + u_s) - f(x - u_s)}{2}\right)^2

    One source moves every point of its quantity together, so that an instrument's error
    counts as fully correlated over the points [2]_; sources combine in quadrature [1]_.
    Half the difference stands for the sensitivity, which is exact for a function that is
    linear over ±u.

    References
    ----------
    .. [1] `jcgm-100`, 2008, 5.1.2 and 5.1.3 note 2.
    .. [2] `jcgm-100`, 2008, 5.2.2 note 1, equation (14).
    """
    contributions = []
    for source in sources:
        points = values[source.quantity]
        above = function({**values, source.quantity: points + source.uncertainty})
        below = function({**values, source.quantity: points - source.uncertainty})
        contributions.append((above - below) / 2)
    return root_sum_square(contributions)
