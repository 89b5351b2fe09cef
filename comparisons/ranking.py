"""The arithmetic of places: ranks, percentiles, near ties, quartiles. Pure, on arrays.

Every page, chart, table and API answer that names a place takes it from here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measurements.kinds.base import Better

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

COVERAGE_FACTOR = 2.0


def expanded(standard_uncertainty: float | None) -> float | None:
    """U at k = 2 of a standard uncertainty, both in any one unit [-]; None of an unknown one."""
    return None if standard_uncertainty is None else COVERAGE_FACTOR * standard_uncertainty


@dataclass(frozen=True, slots=True)
class Places:
    """Where each value of a cohort stands; arrays are in the order of the values given.

    `rank` is the competition rank (1, 2, 2, 4); `percentile` the share of the cohort, the
    value itself included, that it beats, ties counting half [%]; `order` lists positions
    from best to worst, equal values in the order given.
    """

    rank: IntArray
    percentile: FloatArray
    order: IntArray


@dataclass(frozen=True, slots=True)
class Spread:
    """Median and quartiles of a cohort, in the metric's unit; None when it is empty."""

    count: int
    median: float | None
    quartiles: tuple[float, float, float] | None


def places(values: FloatArray, *, better: Better) -> Places:
    """Rank and percentile of every value within its cohort.

    Parameters
    ----------
    values : ndarray of float
        One value an adapter. [any one unit]
    better : str
        ``lower`` or ``higher``. [-]

    Returns
    -------
    Places

    Raises
    ------
    ValueError
        If the metric has no better direction, or a value is not a number.

    Notes
    -----
    The percentile equals `scipy.stats.percentileofscore(values, v, kind="mean")`, turned so
    that higher is better; the rank is the "standard competition" rank.
    """
    if better not in ("lower", "higher"):
        raise ValueError("a metric without a better direction has no ranks")
    if np.isnan(values).any():
        raise ValueError("a value that is not a number has no place")
    keys = values if better == "lower" else -values
    ordered = np.sort(keys)
    ahead = np.searchsorted(ordered, keys, side="left")
    not_behind = np.searchsorted(ordered, keys, side="right")
    count = len(values)
    beaten = (count - not_behind) + 0.5 * (not_behind - ahead)
    return Places(
        rank=(ahead + 1).astype(np.int64),
        percentile=100.0 * beaten / max(count, 1),
        order=np.argsort(keys, kind="stable").astype(np.int64),
    )


def spread(values: FloatArray) -> Spread:
    """Median and quartiles.

    Parameters
    ----------
    values : ndarray of float
        One value an adapter. [any one unit]

    Returns
    -------
    Spread

    Notes
    -----
    Quartiles stand at p(N + 1) of the ordered values, as in the NIST/SEMATECH e-Handbook,
    section 7.2.6.2.
    """
    if not len(values):
        return Spread(count=0, median=None, quartiles=None)
    lower, middle, upper = np.quantile(values, [0.25, 0.5, 0.75], method="weibull")
    return Spread(
        count=len(values),
        median=float(middle),
        quartiles=(float(lower), float(middle), float(upper)),
    )


def differs(
    value: float | FloatArray,
    uncertainty: float | FloatArray,
    *,
    other: float | FloatArray,
    other_uncertainty: float | FloatArray,
) -> BoolArray:
    """Whether two values differ by more than their combined expanded uncertainty.

    Parameters
    ----------
    value, other : float or ndarray of float
        The values. [any one unit]
    uncertainty, other_uncertainty : float or ndarray of float
        Their standard uncertainties, taken as independent. [the same unit]

    Returns
    -------
    ndarray of bool
        True where the difference lies outside k = 2 of the combined uncertainty; False where
        an uncertainty is not a number: nobody can tell.
    """
    combined = np.hypot(uncertainty, other_uncertainty)
    return np.asarray(np.abs(np.subtract(value, other)) > COVERAGE_FACTOR * combined)


def near_ties(values: FloatArray, uncertainties: FloatArray, *, position: int) -> IntArray:
    """Positions of the values that cannot be told apart from the one at `position`.

    Parameters
    ----------
    values, uncertainties : ndarray of float
        The cohort and its standard uncertainties; not a number where unknown. [any one unit]
    position : int
        Which of them. [-]

    Returns
    -------
    ndarray of int
        Positions without `position` itself, in the order given. Where an uncertainty is not
        known, no tie is claimed.
    """
    own = float(uncertainties[position])
    apart = differs(
        values, uncertainties, other=float(values[position]), other_uncertainty=own
    ) | np.isnan(uncertainties + own)
    apart[position] = True
    return np.flatnonzero(~apart).astype(np.int64)


def clear_best(values: FloatArray, uncertainties: FloatArray, *, better: Better) -> int | None:
    """Position of the one value that is better than every other beyond doubt, if there is one.

    Parameters
    ----------
    values, uncertainties : ndarray of float
        Values to compare and their standard uncertainties. [any one unit]
    better : str
        ``lower`` or ``higher``. [-]

    Returns
    -------
    int or None
        None for fewer than two values, a metric without direction, or a best value that the
        combined uncertainty (k = 2) does not tell from another, as where one is not known.
    """
    if len(values) < 2 or better not in ("lower", "higher") or np.isnan(uncertainties).any():
        return None
    best = int(np.argmin(values) if better == "lower" else np.argmax(values))
    return best if not len(near_ties(values, uncertainties, position=best)) else None
