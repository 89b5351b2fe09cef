"""How wide to judge when several differences are judged at once."""

from __future__ import annotations

import math

import scipy

from measurements.metrics.decision import COVERAGE_FACTOR


def simultaneous_factor(degrees_of_freedom: float, *, comparisons: int) -> float:
    r"""The coverage factor with which several intervals together cover as much as k = 2 does.

    Parameters
    ----------
    degrees_of_freedom : float
        Effective degrees of freedom of the standard uncertainty, at least 1; cut down to a
        whole number before it is used. [-]
    comparisons : int
        How many quantities are judged together, at least 1. [-]

    Returns
    -------
    factor : float
        The quantile of the t distribution. [-]

    Raises
    ------
    ValueError
        If there is less than one degree of freedom, or nothing to compare.

    Notes
    -----
    With α = 1 − 0.9545, the probability of k = 2, each of m intervals gets α/m:

    .. math:: k = t_{1 - \alpha / (2m)}(\nu)

    By Bonferroni's inequality at least one of them misses its true value in no more than α of
    all cases, however the quantities hang together. Quantities that move together, as the times
    of one charge do, make it stricter than that: it names too few differences rather than too
    many.

    References
    ----------
    .. [1] `common-practice`: Bonferroni's inequality for a family of comparisons, as handbooks
       of statistics give it.
    .. [2] `jcgm-100`, 2008, G.4 and Table G.2: the factor for one quantity.

    Examples
    --------
    >>> round(simultaneous_factor(4, comparisons=1), 2)
    2.87
    >>> round(simultaneous_factor(float("inf"), comparisons=7), 2)
    2.72
    """
    if not degrees_of_freedom >= 1:
        raise ValueError(f"There must be at least 1 degree of freedom, not {degrees_of_freedom}.")
    if comparisons < 1:
        raise ValueError(f"There must be at least 1 comparison, not {comparisons}.")
    missed = float(scipy.special.ndtr(-COVERAGE_FACTOR)) / comparisons
    if math.isinf(degrees_of_freedom):
        return -float(scipy.special.ndtri(missed))
    return -float(scipy.special.stdtrit(math.floor(degrees_of_freedom), missed))
