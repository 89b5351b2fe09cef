"""A record that approaches a final value exponentially, as a heated body does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from measurements.metrics import FloatArray

# Rates tried as starts, in units of 1 / duration: from a record that is all settled to one
# that is a straight line. The valley between is smooth, so the best of them lies inside it.
_START_RATES = np.geomspace(1e-2, 1e3, 41)


class FitError(ValueError):
    """The record does not determine the two parameters of the curve."""


@dataclass(frozen=True, slots=True)
class ExponentialApproach:
    """A fitted curve start + rise · (1 − exp(−t / time_constant)).

    Attributes
    ----------
    rise : float
        Final value minus start. [unit of the values]
    time_constant : float
        Time after which 1 − 1/e (63.2 %) of the rise is reached. [unit of the times]
    rise_standard_error : float
        Standard error of `rise`. [unit of the values]
    time_constant_standard_error : float
        Standard error of `time_constant`. [unit of the times]
    residual_deviation : float
        Standard deviation of the residuals with n − 2 degrees of freedom.
        [unit of the values]
    """

    rise: float
    time_constant: float
    rise_standard_error: float
    time_constant_standard_error: float
    residual_deviation: float


def fit_exponential_approach(
    time: FloatArray, *, value: FloatArray, start: float
) -> ExponentialApproach:
    r"""Least-squares fit of start + rise · (1 − exp(−t/τ)) with a known start.

    Parameters
    ----------
    time : ndarray of float
        Time since the step, not negative. [s, or any unit of time]
    value : ndarray of float
        Readings at those times. [°C, or any unit]
    start : float
        Value before the step, not fitted. [unit of `value`]

    Returns
    -------
    fit : ExponentialApproach
        Rise [unit of `value`] and time constant [unit of `time`] with standard errors.

    Raises
    ------
    FitError
        If there are fewer than three readings, or they do not determine both parameters:
        a record that stays at its start, or one that is settled from the first reading.

    Notes
    -----
    .. math:: y(t) = y_0 + \Delta y \, (1 - e^{-t/\tau})

    The search runs over the rise and the logarithm of the rate k = 1/τ, which keeps the rate
    positive and finite where the record is nearly straight. Starts come from the data: for a
    given k the best rise is a linear least-squares problem, so k is scanned and the best pair
    refined by the Levenberg-Marquardt method with the analytical Jacobian. The standard errors
    assume independent residuals of equal variance; slow drifts make them too small.

    With start = 0 this is the model of the NIST StRD data set Misra1a [1]_.

    References
    ----------
    .. [1] `nist-strd`, Nonlinear Regression, data set Misra1a.

    Examples
    --------
    >>> t = np.array([0.0, 10.0, 20.0, 40.0, 80.0])
    >>> fit = fit_exponential_approach(t, value=25 + 30 * (1 - np.exp(-t / 20)), start=25.0)
    >>> round(fit.rise, 6), round(fit.time_constant, 6)
    (30.0, 20.0)
    """
    if len(time) != len(value):
        raise ValueError("time and value must have the same length")
    if len(time) < 3:
        raise FitError("two parameters need at least three readings")
    duration = float(np.max(time))
    departure = np.asarray(value, dtype=np.float64) - start
    size = float(np.max(np.abs(departure)))
    if duration <= 0 or not np.isfinite(duration) or size == 0 or not np.isfinite(size):
        raise FitError("the readings never leave the start")

    # Both axes are scaled to order one, so that the stopping rules mean the same for
    # seconds and minutes, for kelvin and volts.
    scaled_time = np.asarray(time, dtype=np.float64) / duration
    scaled_value = departure / size

    def residuals(parameters: FloatArray) -> FloatArray:
        rise, rate = parameters[0], _rate(parameters[1])
        return np.asarray(-rise * np.expm1(-rate * scaled_time) - scaled_value)

    def jacobian(parameters: FloatArray) -> FloatArray:
        rise, rate = parameters[0], _rate(parameters[1])
        decay = np.exp(-rate * scaled_time)
        return np.column_stack([1.0 - decay, rise * rate * scaled_time * decay])

    solution = scipy.optimize.least_squares(
        residuals,
        _best_start(scaled_time, scaled_value=scaled_value),
        jac=jacobian,
        method="lm",
        xtol=1e-13,
        ftol=1e-13,
        gtol=1e-13,
        max_nfev=500,
    )
    if solution.status <= 0:
        raise FitError("the search for the best curve did not converge")
    slopes = jacobian(solution.x)
    if np.linalg.matrix_rank(slopes) < 2:
        raise FitError("the readings do not determine both rise and time constant")
    variance = float(np.sum(np.square(residuals(solution.x)))) / (len(time) - 2)
    covariance = variance * np.linalg.inv(slopes.T @ slopes)
    time_constant = duration / _rate(solution.x[1])
    return ExponentialApproach(
        rise=float(solution.x[0]) * size,
        time_constant=time_constant,
        rise_standard_error=float(np.sqrt(covariance[0, 0])) * size,
        # The second parameter is ln k = −ln τ, so its standard error is u(τ)/τ.
        time_constant_standard_error=float(np.sqrt(covariance[1, 1])) * time_constant,
        residual_deviation=float(np.sqrt(variance)) * size,
    )


def _rate(logarithm: float) -> float:
    """Rate from its logarithm, held where its exponential is a number."""
    return float(np.exp(np.clip(logarithm, -50.0, 50.0)))


def _best_start(scaled_time: FloatArray, *, scaled_value: FloatArray) -> FloatArray:
    """Rise and logarithm of the rate with the least residual among the rates that are tried."""
    best = np.array([1.0, 0.0])
    least = np.inf
    for rate in _START_RATES:
        shape = -np.expm1(-rate * scaled_time)
        rise = float(shape @ scaled_value) / float(shape @ shape)
        residual = float(np.sum(np.square(rise * shape - scaled_value)))
        if residual < least:
            best, least = np.array([rise, np.log(rate)]), residual
    return best
