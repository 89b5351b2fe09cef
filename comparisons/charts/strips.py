"""Geometry of the small drawings: a cohort as a strip, a value as a dot on a common scale.

Pure functions from numbers to places on a drawing. Across, places are shares of the width
[%], so that a drawing fits any column while its print keeps its size; down, they are pixels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from comparisons.ranking import COVERAGE_FACTOR, FloatArray, Spread
from measurements.kinds.base import Better

# More adapters than this are drawn as counts in equal steps instead of one mark each.
MOST_SINGLE_TICKS = 400
BINS = 160

# The width of the stretched part of a strip, in its own units.
STRIP_UNITS = 1000
_TICKS_HIGH = 14.0
_SHORTEST_TICK = 3.0
_LABEL_HIGH = 16


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight scale from `low` to `high`, both in the metric's unit."""

    low: float
    high: float

    def share(self, value: float) -> float:
        """Where a value stands on it, from 0 to 100. [%]"""
        if self.high == self.low:
            return 50.0
        return min(max(100.0 * (value - self.low) / (self.high - self.low), 0.0), 100.0)


@dataclass(frozen=True, slots=True)
class Limit:
    """A published limit that is drawn on a strip, in the metric's unit."""

    value: float
    label: str


@dataclass(frozen=True, slots=True)
class LimitMark:
    """Where a limit is drawn: across [%], and how far down [px] its label and its line begin.

    `anchor` says on which side its label hangs, so that it stays inside.
    """

    at: float
    label: str
    anchor: str
    row: int

    @property
    def label_y(self) -> int:
        """Base line of the label. [px]"""
        return _LABEL_HIGH * self.row + 11

    @property
    def line_y(self) -> int:
        """Where the line begins. [px]"""
        return _LABEL_HIGH * self.row + 2


@dataclass(frozen=True, slots=True)
class Strip:
    """A cohort drawn in one line.

    `ticks` is the path of the marks in a box of `STRIP_UNITS` by 14; the rest are shares of
    the width [%]. `low` and `high` are the labels of the ends, `binned` says that a mark
    stands for several adapters, the higher the more.
    """

    ticks: str
    binned: bool
    box_from: float
    box_width: float
    median: float
    mark: float | None
    limits: tuple[LimitMark, ...]
    low: str
    high: str
    title: str

    @property
    def top(self) -> int:
        """Height that the labels of limits take above the marks. [px]"""
        return _LABEL_HIGH * len(self.limits)

    @property
    def high_with_ends(self) -> int:
        """Height of the whole, with the labels of its ends. [px]"""
        return self.top + 42


@dataclass(frozen=True, slots=True)
class Dot:
    """A value and the ends of its expanded uncertainty on a common scale [%]."""

    at: float
    whisker_from: float
    whisker_width: float


# Differences at the rounding of floats are none, and what is smaller than this is drawn as zero:
# steps of a scale have to stay numbers that can be divided by.
_FLAT = 1e-12
_NOTHING = 1e-290


def round_scale(values: Sequence[float]) -> Scale:
    """The narrowest scale with round ends that holds all of `values`.

    Raises `ValueError` when there is none.
    """
    if not values:
        raise ValueError("a scale needs at least one value")
    low, high = min(values), max(values)
    span = high - low
    magnitude = max(abs(low), abs(high))
    if span <= _FLAT * magnitude or magnitude < _NOTHING:
        span = magnitude if magnitude >= _NOTHING else 1.0
    step = 10.0 ** math.floor(math.log10(span))
    for share in (0.1, 0.2, 0.5):
        if span / (step * share) <= 10:
            step *= share
            break
    # Floating division may fall just short of a whole number of steps.
    first = math.floor(low / step + 1e-9)
    last = math.ceil(high / step - 1e-9)
    if first == last:
        first, last = first - 1, last + 1
    digits = max(0, -math.floor(math.log10(step)) + 1)
    return Scale(low=round(first * step, digits), high=round(last * step, digits))


def strip(
    values: FloatArray,
    *,
    spread: Spread,
    better: Better,
    unit: str,
    title: str,
    mark: float | None = None,
    limits: Sequence[Limit] = (),
) -> Strip | None:
    """The strip of a cohort; None when it is empty.

    Parameters
    ----------
    values : ndarray of float
        One value an adapter. [metric's unit]
    spread : Spread
        Median and quartiles of the same values. [metric's unit]
    better : str
        ``lower`` or ``higher``; the better end is named. [-]
    unit : str
        Unit of the end labels. [-]
    title : str
        What the drawing shows, as a sentence, for those who do not see it. [-]
    mark : float or None
        Value of the adapter that the strip is about. [metric's unit]
    limits : sequence of Limit
        Published limits to draw. [metric's unit]

    Returns
    -------
    Strip or None
    """
    if spread.median is None or spread.quartiles is None:
        return None
    reach = [float(values.min()), float(values.max())]
    reach += [] if mark is None else [mark]
    reach += [limit.value for limit in limits]
    scale = round_scale(reach)
    lower, _, upper = (scale.share(value) for value in spread.quartiles)
    binned = len(values) > MOST_SINGLE_TICKS
    ends = [_end_label(end, unit=unit) for end in (scale.low, scale.high)]
    if better == "lower":
        ends[0] += " · better"
    elif better == "higher":
        ends[1] = "better · " + ends[1]
    return Strip(
        ticks=_binned(values, scale=scale) if binned else _single(values, scale=scale),
        binned=binned,
        box_from=round(lower, 2),
        box_width=round(upper - lower, 2),
        median=round(scale.share(spread.median), 2),
        mark=None if mark is None else round(scale.share(mark), 2),
        limits=_limit_marks(limits, scale=scale),
        low=ends[0],
        high=ends[1],
        title=title,
    )


def common_scale(values: FloatArray, uncertainties: FloatArray) -> Scale:
    """A scale with room for every value and its expanded uncertainty (k = 2), where known."""
    half = COVERAGE_FACTOR * np.nan_to_num(uncertainties)
    return round_scale([float((values - half).min()), float((values + half).max())])


def scale_text(scale: Scale, *, unit: str) -> str:
    """The ends of a scale in words, such as ``0 to 0.3 W``."""
    return f"{_plain(scale.low)} to {_plain(scale.high)} {unit}"


def dot(value: float, standard_uncertainty: float | None, *, scale: Scale) -> Dot:
    """Where a value and its expanded uncertainty (k = 2), if known, stand on a common scale."""
    half = COVERAGE_FACTOR * (standard_uncertainty or 0.0)
    start, stop = scale.share(value - half), scale.share(value + half)
    return Dot(
        at=round(scale.share(value), 2),
        whisker_from=round(start, 2),
        whisker_width=round(stop - start, 2),
    )


def _plain(value: float) -> str:
    return f"{value:.10g}".replace("-", "−")


def _end_label(value: float, *, unit: str) -> str:
    return f"{_plain(value)} {unit}".strip()


def _limit_marks(limits: Sequence[Limit], *, scale: Scale) -> tuple[LimitMark, ...]:
    """A row of print for each limit. A label hangs toward the middle: it has half of the width.

    The outer ones stand above the inner ones, so that no line runs through the label of a
    limit on its own side.
    """
    placed = [(scale.share(limit.value), limit.label) for limit in limits]
    left = sorted(item for item in placed if item[0] <= 50)
    right = sorted((item for item in placed if item[0] > 50), reverse=True)
    return tuple(
        LimitMark(
            at=round(at, 2), label=label, anchor="start" if row < len(left) else "end", row=row
        )
        for row, (at, label) in enumerate([*left, *right])
    )


def _single(values: FloatArray, *, scale: Scale) -> str:
    places = sorted({round(scale.share(float(value)) * STRIP_UNITS / 100) for value in values})
    return "".join(f"M{place} 0V{_TICKS_HIGH:g}" for place in places)


def _binned(values: FloatArray, *, scale: Scale) -> str:
    edges = np.linspace(scale.low, scale.high, BINS + 1)
    counts, _ = np.histogram(values, bins=edges)
    most = counts.max()
    path = []
    for position, count in enumerate(counts.tolist()):
        if count:
            high = max(_SHORTEST_TICK, _TICKS_HIGH * count / most)
            place = round((position + 0.5) * STRIP_UNITS / BINS)
            path.append(f"M{place} {_TICKS_HIGH - high:.1f}V{_TICKS_HIGH:g}")
    return "".join(path)
