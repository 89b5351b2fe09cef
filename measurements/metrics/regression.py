"""Straight lines through measured points."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from measurements.metrics import FloatArray


@dataclass(frozen=True, slots=True)
class StraightLine:
    """A least-squares line ``y = intercept + slope · x``.

    Parameters
    ----------
    slope, slope_error : float
        Slope and its standard error. [unit of y per unit of x]
    intercept, intercept_error : float
        Value at x = 0 and its standard error. [unit of y]
    residual_deviation : float
        Standard deviation of the residuals, n − 2 degrees of freedom. [unit of y]
    """

    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    residual_deviation: float


def straight_line(x: FloatArray, *, y: FloatArray) -> StraightLine:
    r"""Least-squares straight line with the standard errors of its coefficients.

    Parameters
    ----------
    x : ndarray of float
        Where the points were taken, free of error. [any unit]
    y : ndarray of float
        What was measured there. [any unit]

    Returns
    -------
    line : StraightLine
        Coefficients and standard errors. [units of `x` and `y`]

    Raises
    ------
    ValueError
        If there are fewer than three points, the lengths differ, a value is not finite, or all
        points have the same x.

    Notes
    -----
    .. math:: b = \frac{\sum (x - \bar x)(y - \bar y)}{\sum (x - \bar x)^2}, \quad
              u(b) = \frac{s}{\sqrt{\sum (x - \bar x)^2}}

    Both variables are centred first, which keeps the digits when x is far from zero. The
    standard errors assume residuals that are independent of one another.

    References
    ----------
    .. [1] `nist-strd`, Norris: certified coefficients and standard deviations.

    Examples
    --------
    >>> straight_line(np.array([0.0, 1.0, 2.0]), y=np.array([1.0, 3.0, 5.0])).slope
    2.0
    """
    abscissa = np.asarray(x, dtype=np.float64)
    ordinate = np.asarray(y, dtype=np.float64)
    if abscissa.shape != ordinate.shape or abscissa.ndim != 1 or abscissa.size < 3:
        raise ValueError("A straight line with errors needs three or more points, as many x as y.")
    if not (np.isfinite(abscissa).all() and np.isfinite(ordinate).all()):
        raise ValueError("A straight line needs finite values.")
    x_mean, y_mean = float(abscissa.mean()), float(ordinate.mean())
    offsets = abscissa - x_mean
    spread = float(offsets @ offsets)
    if spread == 0:
        raise ValueError("All points have the same x, so that no slope can be found.")
    slope = float(offsets @ (ordinate - y_mean)) / spread
    residuals = (ordinate - y_mean) - slope * offsets
    deviation = math.sqrt(float(residuals @ residuals) / (abscissa.size - 2))
    return StraightLine(
        slope=slope,
        intercept=y_mean - slope * x_mean,
        slope_error=deviation / math.sqrt(spread),
        intercept_error=deviation * math.sqrt(1 / abscissa.size + x_mean**2 / spread),
        residual_deviation=deviation,
    )
