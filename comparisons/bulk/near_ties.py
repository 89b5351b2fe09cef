"""How many near ties every value of a cohort has, for whole cohorts at once."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from comparisons.ranking import COVERAGE_FACTOR, FloatArray, IntArray, differs
from measurements.kinds.base import Better

# Pairs that are compared at once; they take some 30 MB.
PAIRS_AT_ONCE = 500_000
_ROUNDING = 1e-9


def near_tie_counts(values: FloatArray, uncertainties: FloatArray, *, better: Better) -> IntArray:
    """Number of other values that cannot be told apart from each one.

    Parameters
    ----------
    values : ndarray of float
        The cohort, best first. [any one unit]
    uncertainties : ndarray of float
        Standard uncertainties; not a number where unknown. [the same unit]
    better : str
        ``lower`` or ``higher``. [-]

    Returns
    -------
    ndarray of int
        As long as `comparisons.ranking.near_ties` finds positions for each value.

    Notes
    -----
    In a cohort that is in order, whatever lies nearer than the smallest combined uncertainty is
    a near tie and whatever lies farther than the largest is none, so only what lies between has
    to be compared pair by pair.
    """
    counts = np.zeros(len(values), dtype=np.int64)
    known = np.flatnonzero(~np.isnan(uncertainties))
    if not len(known):
        return counts
    values, spreads = values[known], uncertainties[known]
    keys = values if better == "lower" else -values
    largest = COVERAGE_FACTOR * np.hypot(spreads, spreads.max()) * (1 + _ROUNDING)
    smallest = COVERAGE_FACTOR * np.hypot(spreads, spreads.min()) * (1 - _ROUNDING)
    smallest = np.maximum(smallest - 4 * np.spacing(np.abs(keys)), 0.0)
    first, stop = _window(keys, largest)
    sure_first, sure_stop = _window(keys, smallest)
    found = sure_stop - sure_first - 1  # without itself
    for rows, others in _pairs(first, sure_first):
        found += _tied(values, spreads, rows, others)
    for rows, others in _pairs(sure_stop, stop):
        found += _tied(values, spreads, rows, others)
    counts[known] = found
    return counts


def _window(keys: FloatArray, reach: FloatArray) -> tuple[IntArray, IntArray]:
    """Where the values within `reach` of each one begin and end."""
    first = np.searchsorted(keys, keys - reach, side="left")
    stop = np.searchsorted(keys, keys + reach, side="right")
    return first.astype(np.int64), stop.astype(np.int64)


def _pairs(first: IntArray, stop: IntArray) -> Iterator[tuple[IntArray, IntArray]]:
    """Every row with every position from its `first` up to its `stop`, some pairs at a time."""
    counts = stop - first
    ends = np.cumsum(counts)
    row = 0
    while row < len(counts):
        done = int(ends[row - 1]) if row else 0
        end = max(row + 1, int(np.searchsorted(ends, done + PAIRS_AT_ONCE, side="right")))
        sizes = counts[row:end]
        rows = np.repeat(np.arange(row, end), sizes)
        begins = np.repeat(first[row:end] - (ends[row:end] - sizes - done), sizes)
        if len(rows):
            yield rows, begins + np.arange(len(rows))
        row = end


def _tied(values: FloatArray, spreads: FloatArray, rows: IntArray, others: IntArray) -> IntArray:
    apart = differs(
        values[others], spreads[others], other=values[rows], other_uncertainty=spreads[rows]
    )
    return np.bincount(rows[~apart], minlength=len(values)).astype(np.int64)
