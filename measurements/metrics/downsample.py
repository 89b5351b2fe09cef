"""Fewer rows for a chart, without losing the peaks."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from measurements.metrics import FloatArray


def downsample(
    columns: Mapping[str, FloatArray], *, points: int, x: str = ""
) -> dict[str, FloatArray]:
    """Thin a record to a number of its own rows that still shows every column's extremes.

    Parameters
    ----------
    columns : mapping of str to ndarray of float
        Columns of equal length. [any unit]
    points : int
        Most rows in the result, two or more. [-]
    x : str
        Column along which the others are drawn; its extremes need no keeping. Empty: every
        column's extremes are kept. [-]

    Returns
    -------
    thinned : dict of str to ndarray of float
        The same columns with whole rows left out; unchanged when there are few enough.
        [units of the columns]

    Raises
    ------
    ValueError
        If `points` is below two, or the columns differ in length.

    Notes
    -----
    The record is cut into stretches of equally many rows; of each stretch the rows stay in which
    a column is lowest or highest. First and last row always stay, the order too. Where the budget
    is too small to give every column its two rows a stretch, the rows are spread evenly. NaN is
    never an extreme; a row in which every column but x is NaN breaks the lines, and the first of
    each such run stays, as long as these take no more than a quarter of the budget and leave room
    for the extremes.

    References
    ----------
    .. [1] `common-practice`: a minimum and a maximum a bucket.
    """
    lengths = {len(values) for values in columns.values()}
    if len(lengths) > 1:
        raise ValueError("The columns of a record must be equally long.")
    if points < 2:
        raise ValueError("A record cannot be thinned to fewer than two rows.")
    count = lengths.pop() if lengths else 0
    if count <= points:
        return {name: np.asarray(values) for name, values in columns.items()}
    drawn = [np.asarray(values) for name, values in columns.items() if name != x]
    keep = _kept_rows(drawn, count=count, points=points)
    return {name: np.asarray(values)[keep] for name, values in columns.items()}


def _kept_rows(drawn: list[FloatArray], *, count: int, points: int) -> NDArray[np.intp]:
    # Extremes come first: breaks stay where every column still has its two rows beside them.
    breaks = _breaks(drawn, most=min(points // 4, points - 2 - 2 * len(drawn)))
    stretches = (points - 2 - len(breaks)) // (2 * len(drawn)) if drawn else 0
    if stretches == 0:
        return np.unique(np.linspace(0, count - 1, points).round().astype(np.intp))
    edges = np.linspace(0, count, stretches + 1).round().astype(np.intp)
    keep = {0, count - 1, *breaks}
    for start, stop in pairwise(edges):
        for values in drawn:
            stretch = values[start:stop]
            finite = np.flatnonzero(~np.isnan(stretch))
            if finite.size:
                keep.add(int(start + finite[np.argmin(stretch[finite])]))
                keep.add(int(start + finite[np.argmax(stretch[finite])]))
    return np.array(sorted(keep), dtype=np.intp)


def _breaks(drawn: list[FloatArray], *, most: int) -> list[int]:
    """First row of every run without any value, none if there are more than `most`."""
    if not drawn:
        return []
    blank = np.logical_and.reduce([np.isnan(values) for values in drawn])
    first = np.flatnonzero(blank & ~np.concatenate(([False], blank[:-1])))
    return first.tolist() if len(first) <= most else []
