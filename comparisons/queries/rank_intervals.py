"""Between which ranks an adapter may stand, by its own uncertainty and that of all others.

A Monte Carlo computation on arrays, after the manner of JCGM 101:2008: what was measured is
drawn anew from its distribution, and the ranks are counted in every draw.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from hashlib import blake2b
from uuid import UUID

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from comparisons.queries.cache import StampedCache
from comparisons.queries.cohorts import Cohort
from comparisons.ranking import FloatArray, IntArray

DRAWS = 2_000
COVERAGE_PERCENT = 95

# The others are drawn anew for every draw of a row up to 200 adapters. In larger cohorts their
# draws serve several times: what one of many does then moves a rank little, and a row's own
# draws, which move it most, stay all different.
_SETS_OF_OTHERS = (2_000, 1_000, 500, 200, 100, 50)
_DRAWN_AT_ONCE = 400_000
_ROWS_AT_ONCE = 500
_ASKED_BY_ITSELF = 2_000

# Normal deviates come from a table of equally likely ones, so that none is larger than its ends:
# whoever stands farther away than both ends cannot change places and need not be drawn.
_TABLE_SIZE = 2**16
_Words = NDArray[np.uint64]

# Intervals follow from the content of a cohort alone, so what is remembered never grows old.
_EVER = UUID(int=0)
_REMEMBERED_ROWS = 200_000


@dataclass(frozen=True, slots=True)
class RankInterval:
    """The ranks from `low` to `high`, both included; it always holds the rank itself."""

    low: int
    high: int


_remembered: StampedCache[list[RankInterval | None]] = StampedCache(capacity=_REMEMBERED_ROWS)


def rank_intervals(
    cohort: Cohort, *, start: int = 0, stop: int | None = None
) -> list[RankInterval | None]:
    """Intervals of the rows of a cohort from `start` up to `stop`; None without an uncertainty."""
    stop = len(cohort) if stop is None else min(stop, len(cohort))
    keys = cohort.values if cohort.metric.better == "lower" else -cohort.values
    content = blake2b(keys.tobytes() + cohort.uncertainties.tobytes()).digest()
    found = _remembered.get((content, start, stop), stamp=_EVER)
    if found is None:
        found = []
        for first in range(start, stop, _ROWS_AT_ONCE):
            rows = np.arange(first, min(first + _ROWS_AT_ONCE, stop))
            found += _of_rows(cohort, keys, rows)
        _remembered.put((content, start, stop), found, stamp=_EVER, size=len(found) + 1)
    return found


def _of_rows(cohort: Cohort, keys: FloatArray, rows: IntArray) -> list[RankInterval | None]:
    low, high = intervals(keys, cohort.uncertainties, rows=rows)
    ranks = cohort.places.rank[rows]
    # What leads among many that are measured as loosely would seldom lead again: its own rank
    # may lie outside of what the draws give, and is taken in.
    low, high = np.minimum(low, ranks), np.maximum(high, ranks)
    is_known = ~np.isnan(cohort.uncertainties[rows])
    return [
        RankInterval(*ends) if known else None
        for *ends, known in zip(low.tolist(), high.tolist(), is_known.tolist(), strict=True)
    ]


def intervals(
    keys: FloatArray, uncertainties: FloatArray, *, rows: IntArray
) -> tuple[IntArray, IntArray]:
    """Between which competition ranks each of some values stands in 95 of 100 draws.

    Parameters
    ----------
    keys : ndarray of float
        One value an adapter, the smallest the best. [any one unit]
    uncertainties : ndarray of float
        Their standard uncertainties, taken as independent and normal; not a number where
        unknown: such a value counts as exact for the others. [the same unit]
    rows : ndarray of int
        Positions of those that are asked about. [-]

    Returns
    -------
    tuple of ndarray of int
        The 2.5 and 97.5 % quantiles of the rank over `DRAWS` draws, in the order of `rows`.

    Notes
    -----
    The draws follow from the values and uncertainties themselves, so the same cohort gives the
    same intervals in any order, on any page of it and in any process; equal values of equal
    uncertainty share one interval; and one adapter more leaves the others' draws as they were.
    """
    sizes = np.nan_to_num(uncertainties)
    deviates = _normal_table()
    reach = float(deviates[-1]) * sizes
    lowest, highest = (keys[rows] - reach[rows]).min(), (keys[rows] + reach[rows]).max()
    ahead = int(np.count_nonzero(keys + reach < lowest))
    near = np.flatnonzero((keys + reach >= lowest) & (keys - reach <= highest))
    sets = next(
        (each for each in _SETS_OF_OTHERS if each * len(keys) <= _DRAWN_AT_ONCE),
        _SETS_OF_OTHERS[-1],
    )
    streams, firsts = _streams(keys[near], sizes[near])
    # Of equal ones the first stands for all.
    own, position = np.unique(firsts[np.searchsorted(near, rows)], return_inverse=True)
    keys, sizes = keys[near], sizes[near]
    mine = keys[own][:, None] + sizes[own][:, None] * _own_deviates()
    counts = np.empty((len(own), DRAWS), dtype=np.int64)
    at_once = max(1, _DRAWN_AT_ONCE // max(len(keys), DRAWS // sets * len(own)))
    for first in range(0, sets, at_once):
        numbers = np.arange(first, min(first + at_once, sets))
        others = keys + sizes * _deviates(streams, numbers)
        # Draw k of a row goes with set k of the others, and begins anew after the last set.
        draws = np.arange(first, DRAWS, sets) + np.arange(len(numbers))[:, None]
        asked = mine[:, draws].transpose(1, 0, 2)
        itself = others[:, own, None] < asked
        others.sort(axis=1)
        counts[:, draws] = (_smaller(others, asked) - itself).transpose(1, 0, 2)
    tail = DRAWS * (100 - COVERAGE_PERCENT) // 200
    counts.partition((tail - 1, DRAWS - tail - 1), axis=1)
    low, high = counts[position, tail - 1], counts[position, DRAWS - tail - 1]
    return low + ahead + 1, high + ahead + 1


def _deviates(streams: _Words, numbers: IntArray) -> FloatArray:
    """Normal deviates: a row for each set that is numbered, a column for each stream."""
    # A word of 64 bits holds four places in the table.
    words, parts = np.divmod(numbers.astype(np.uint64), np.uint64(4))
    words = _mixed(streams + (words[:, None] + np.uint64(1)) * _STEP)
    places = (words >> (np.uint64(16) * parts[:, None])) & np.uint64(_TABLE_SIZE - 1)
    deviates: FloatArray = _normal_table()[places]
    return deviates


def _smaller(ordered: FloatArray, asked: FloatArray) -> IntArray:
    """How many of each row of `ordered` are smaller than what is asked of that row.

    `numpy.searchsorted`, and for few questions to each of many rows the same at once: bisection,
    a step for all of them.
    """
    if asked[0].size > _ASKED_BY_ITSELF:
        return np.stack(
            [np.searchsorted(row, each) for row, each in zip(ordered, asked, strict=True)]
        ).astype(np.int64)
    size = ordered.shape[1]
    flat = ordered.ravel()
    before = (np.arange(len(ordered)) * size - 1)[:, None, None]
    found = np.zeros(asked.shape, dtype=np.int64)
    step = 1 << (size.bit_length() - 1)
    while step:
        further = found + step
        is_smaller = flat[before + np.minimum(further, size)] < asked
        found = np.where(is_smaller & (further <= size), further, found)
        step >>= 1
    return found


def _streams(keys: FloatArray, sizes: FloatArray) -> tuple[_Words, IntArray]:
    """A word for each value that its draws follow from, and the first that is equal to it."""
    order = np.lexsort((sizes, keys))
    ordered_keys, ordered_sizes = keys[order], sizes[order]
    is_first = np.ones(len(keys), dtype=bool)
    is_first[1:] = (np.diff(ordered_keys) != 0) | (np.diff(ordered_sizes) != 0)
    begins = np.maximum.accumulate(np.where(is_first, np.arange(len(keys)), 0))
    firsts = np.empty(len(keys), dtype=np.int64)
    firsts[order] = order[begins]
    place = np.empty(len(keys), dtype=np.uint64)
    place[order] = (np.arange(len(keys)) - begins).astype(np.uint64)
    # Adding zero makes -0.0 and 0.0 the same word.
    words = _mixed(_mixed((keys + 0.0).view(np.uint64)) ^ (sizes + 0.0).view(np.uint64))
    return _mixed(words + place), firsts


# The finaliser and the step of SplitMix64 (Steele, Lea and Flood, OOPSLA 2014): words that
# differ in any bit become words without visible relation.
_STEP = np.uint64(0x9E3779B97F4A7C15)


def _mixed(words: _Words) -> _Words:
    words = (words ^ (words >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    words = (words ^ (words >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return words ^ (words >> np.uint64(31))


@cache
def _normal_table() -> FloatArray:
    """Equally likely values of the standard normal distribution, in order."""
    return np.asarray(ndtri((np.arange(_TABLE_SIZE) + 0.5) / _TABLE_SIZE), dtype=np.float64)


@cache
def _own_deviates() -> FloatArray:
    """What a row's own value is drawn with, the same for every row, equally likely each."""
    order = np.random.Generator(np.random.PCG64(DRAWS)).permutation(DRAWS)
    return np.asarray(ndtri((order + 0.5) / DRAWS), dtype=np.float64)
