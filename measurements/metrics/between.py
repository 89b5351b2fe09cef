"""Values between measured operating points of a power supply. Nothing is extrapolated."""

from __future__ import annotations

import numpy as np

from measurements.metrics import FloatArray


def mean_by_load(nominal: FloatArray, *, values: FloatArray) -> FloatArray:
    """Mean of the values of each nominal load, in rising order of load.

    Parameters
    ----------
    nominal : ndarray of float
        Nominal load of every point. [%]
    values : ndarray of float
        A value of every point, points along the last axis. [any unit]

    Returns
    -------
    means : ndarray of float
        One mean a load along the last axis. [unit of `values`]

    Examples
    --------
    >>> mean_by_load(np.array([50.0, 25.0, 50.0]), values=np.array([3.0, 1.0, 5.0]))
    array([1., 4.])
    """
    order = np.argsort(nominal, kind="stable")
    _, first, count = np.unique(nominal[order], return_index=True, return_counts=True)
    sums = np.add.reduceat(values[..., order], first, axis=-1)
    return np.asarray(sums / count, dtype=np.float64)


def monotone_between(at: FloatArray, *, x: FloatArray, y: FloatArray) -> FloatArray:
    r"""Values of the monotone piecewise cubic (PCHIP) through the points.

    Parameters
    ----------
    at : ndarray of float
        Where values are wanted, along the last axis. [unit of `x`]
    x : ndarray of float
        Abscissas along the last axis, in any order; ordinates of equal ones are averaged.
        Every leading index stands for a curve of its own. [any unit]
    y : ndarray of float
        Ordinates, shaped like `x`. [any unit]

    Returns
    -------
    values : ndarray of float
        One value for each of `at` and curve; that of the nearest point where `at` lies outside
        of them. [unit of `y`]

    Notes
    -----
    Between neighbours the curve is the cubic with the slopes :math:`d` at both points [1]_.
    Where the secants :math:`m` on both sides of a point agree in sign its slope is their harmonic
    mean, weighted by the widths :math:`h` [2]_, and else zero:

    .. math:: \frac{w_l + w_r}{d} = \frac{w_l}{m_l} + \frac{w_r}{m_r}, \quad
              w_l = h_l + 2 h_r, \quad w_r = 2 h_l + h_r

    At an end it is the slope there of the parabola through three points, but never against the
    outermost secant, nor over three times as steep. Two points are joined by a straight line.

    References
    ----------
    .. [1] `common-practice`, the monotone cubic of F. N. Fritsch and R. E. Carlson, 1980.
    .. [2] `common-practice`, the slopes of F. N. Fritsch and J. Butland, 1984.

    Examples
    --------
    >>> monotone_between(np.array([1.5]), x=np.array([1.0, 2.0]), y=np.array([3.0, 5.0]))
    array([4.])
    """
    points = np.shape(x)[-1]
    wanted = np.broadcast_to(at, (*np.shape(x)[:-1], np.shape(at)[-1]))
    by_curve = wanted.reshape(-1, wanted.shape[-1])
    curves = np.arange(len(by_curve))[:, np.newaxis]
    # Output power can fall with rising current while a supply limits: neither order nor
    # difference of the abscissas is certain.
    abscissas, ordinates = np.reshape(x, (-1, points)), np.reshape(y, (-1, points))
    order = np.argsort(abscissas, axis=-1, kind="stable")
    abscissas, ordinates = abscissas[curves, order], ordinates[curves, order]
    if np.all(abscissas[:, 1:] > abscissas[:, :-1]):
        values = _through(by_curve, x=abscissas, y=ordinates)
    else:
        # Merged points leave each curve a number of its own.
        values = np.concatenate(
            [
                _through(
                    by_curve[curve : curve + 1],
                    x=np.unique(abscissas[curve])[np.newaxis],
                    y=mean_by_load(abscissas[curve], values=ordinates[curve])[np.newaxis],
                )
                for curve in range(len(by_curve))
            ]
        )
    return values.reshape(wanted.shape)


def _through(at: FloatArray, *, x: FloatArray, y: FloatArray) -> FloatArray:
    """Values on curves (rows) through points of strictly rising abscissas."""
    if x.shape[-1] == 1:
        return np.broadcast_to(y, at.shape)
    # Between two loads of a limiting supply the power can top both by a little: no extrapolation.
    within = np.clip(at, x[:, :1], x[:, -1:])
    left = np.sum(within[..., np.newaxis] >= x[:, np.newaxis, 1:-1], axis=-1)
    row = np.arange(len(x))[:, np.newaxis]
    width, secant = np.diff(x), np.diff(y) / np.diff(x)
    slope = _slopes(width, secant)
    bend = (slope[:, :-1] + slope[:, 1:] - 2 * secant) / width
    square = (secant - slope[:, :-1]) / width - bend
    cube = bend / width
    beyond = within - x[row, left]
    squared = beyond * beyond
    return np.asarray(
        y[row, left]
        + slope[row, left] * beyond
        + square[row, left] * squared
        + cube[row, left] * (squared * beyond)
    )


def _slopes(width: FloatArray, secant: FloatArray) -> FloatArray:
    """Slope of each curve at each of its points, from the widths between and secants."""
    if width.shape[-1] == 1:
        return np.repeat(secant, 2, axis=-1)
    before, after = width[:, :-1], width[:, 1:]
    rise, next_rise = secant[:, :-1], secant[:, 1:]
    weight, next_weight = 2 * after + before, after + 2 * before
    # A slope next to nothing overflows as a reciprocal, and gives the slope 0 that it stands for;
    # no slope at all divides by zero, and does not count.
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        reciprocal = (weight / rise + next_weight / next_rise) / (weight + next_weight)
        inner = np.where(rise * next_rise > 0, 1 / reciprocal, 0.0)
    slopes = np.empty((len(width), width.shape[-1] + 1))
    slopes[:, 1:-1] = inner
    slopes[:, 0] = _end_slope(width[:, 0], width[:, 1], secant[:, 0], secant[:, 1])
    slopes[:, -1] = _end_slope(width[:, -1], width[:, -2], secant[:, -1], secant[:, -2])
    return slopes


def _end_slope(
    width: FloatArray, inner_width: FloatArray, secant: FloatArray, inner_secant: FloatArray
) -> FloatArray:
    """Slope at an end of each curve, from the outermost interval and its neighbour."""
    parabola = ((2 * width + inner_width) * secant - width * inner_secant) / (width + inner_width)
    steepest = np.where(np.abs(parabola) > 3 * np.abs(secant), 3 * secant, parabola)
    return np.where(parabola * secant > 0, steepest, 0.0)
