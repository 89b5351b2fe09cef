"""Geometry of two metrics against each other, in the hand of the strips.

Pure functions from numbers to places on a drawing. Across, places are shares of the width [%],
so that the drawing fits any column while its print keeps its size; down, they are pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from comparisons.charts.strips import Scale, round_scale
from comparisons.ranking import COVERAGE_FACTOR, FloatArray, IntArray
from measurements.kinds.base import Better

HIGH = 400
"""Height of the drawing [px]."""

# Width of the stretched part, in its own units, and the margins that keep marks inside.
UNITS = 1000
_SIDE_PERCENT = 5.0
_TOP, _BOTTOM = 34.0, 22.0

# Where there are more adapters than this, those that would lie on each other are one dot.
MOST_DOTS = 1_500
_CELLS_ACROSS, _CELLS_DOWN = 100, 60
_CROWD = 400
# Marks with a number and bars of uncertainty; more could not be told apart.
MOST_NUMBERED = 24


@dataclass(frozen=True, slots=True)
class Tick:
    """A line of the grid: its place, across [%] or down [px], and what it says."""

    at: float
    label: str


@dataclass(frozen=True, slots=True)
class Mark:
    """An adapter on the front, and the ends of its expanded uncertainty."""

    number: int
    at: float
    y: float
    bar_from: float
    bar_to: float
    bar_top: float
    bar_bottom: float
    is_numbered: bool


@dataclass(frozen=True, slots=True)
class Scatter:
    """A drawing of points. `dots` and `steps` are paths in a box of `UNITS` by `HIGH`.

    `drawn` is the number of dots: fewer than there are points where they would lie on each other.
    `steps` runs along the front. The better corner has its name at `corner_at` [%], `corner_y`
    [px], with `corner_arrow` pointing into it; numbers stand on that side of their marks,
    `number_x` and `number_y` [px] away.
    """

    dots: str
    drawn: int
    steps: str
    marks: tuple[Mark, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    corner_at: float
    corner_y: float
    corner_anchor: str
    corner_arrow: str
    number_x: int
    number_y: int
    high: int = HIGH

    @property
    def is_crowded(self) -> bool:
        """Whether the dots have to be small to be told apart."""
        return self.drawn > _CROWD


@dataclass(frozen=True, slots=True)
class Axis:
    """One coordinate of all points with standard uncertainties, not a number where unknown."""

    values: FloatArray
    uncertainties: FloatArray
    better: Better


def scatter(x: Axis, y: Axis, *, on_front: IntArray) -> Scatter | None:
    """The drawing of points by two coordinates; None of none.

    Parameters
    ----------
    x, y : Axis
        Coordinates in the same order of points. [metric's unit each]
    on_front : ndarray of int
        Positions of the points that are marked, in the order of their numbers. [-]

    Returns
    -------
    Scatter or None
    """
    if not len(x.values):
        return None
    x_scale, y_scale = round_scale(_ends(x.values)), round_scale(_ends(y.values))
    across, down = _across(x.values, x_scale), _down(y.values, y_scale)
    others = np.setdiff1d(np.arange(len(across)), on_front)
    shown = others if len(others) <= MOST_DOTS else _thinned(across, down, others)
    is_right, is_top = x.better == "higher", y.better == "higher"
    arrows = {(True, True): "↗", (False, True): "↖", (True, False): "↘", (False, False): "↙"}
    return Scatter(
        dots=_dots(across[shown], down[shown]),
        drawn=len(shown) + len(on_front),
        steps=_steps(across[on_front], down[on_front], is_right=is_right, is_top=is_top),
        marks=_marks(x, y, x_scale, y_scale, on_front),
        x_ticks=tuple(
            Tick(round(float(_across(np.array([value]), x_scale)[0]), 2), label)
            for value, label in _ticks(x_scale)
        ),
        y_ticks=tuple(
            Tick(round(float(_down(np.array([value]), y_scale)[0]), 1), label)
            for value, label in _ticks(y_scale)
        ),
        corner_at=100.0 if is_right else 0.0,
        corner_y=14.0 if is_top else HIGH - 6.0,
        corner_anchor="end" if is_right else "start",
        corner_arrow=arrows[is_right, is_top],
        number_x=8 if is_right else -8,
        number_y=-6 if is_top else 16,
    )


def _ends(values: FloatArray) -> list[float]:
    return [float(values.min()), float(values.max())]


def _shares(values: FloatArray, scale: Scale) -> FloatArray:
    if scale.high == scale.low:
        return np.full(len(values), 0.5)
    return np.clip((values - scale.low) / (scale.high - scale.low), 0.0, 1.0)


def _across(values: FloatArray, scale: Scale) -> FloatArray:
    return _SIDE_PERCENT + (100.0 - 2 * _SIDE_PERCENT) * _shares(values, scale)


def _down(values: FloatArray, scale: Scale) -> FloatArray:
    return _TOP + (HIGH - _TOP - _BOTTOM) * (1.0 - _shares(values, scale))


def _thinned(across: FloatArray, down: FloatArray, among: IntArray) -> IntArray:
    """The first of those in every cell of a grid."""
    cells = np.floor(across[among] / 100 * _CELLS_ACROSS) * _CELLS_DOWN
    cells += np.floor(down[among] / HIGH * _CELLS_DOWN)
    _, first = np.unique(cells, return_index=True)
    return among[np.sort(first)]


def _dots(across: FloatArray, down: FloatArray) -> str:
    # A line of no length has round ends: a dot that keeps its shape however wide the column is.
    places = np.rint(np.column_stack([across * UNITS / 100, down])).astype(np.int64)
    return "".join(f"M{place} {y}h0" for place, y in np.unique(places, axis=0).tolist())


def _steps(across: FloatArray, down: FloatArray, *, is_right: bool, is_top: bool) -> str:
    """A stair along the front, from the end that is best across to the end that is best up."""
    order = np.lexsort((down if is_top else -down, -across if is_right else across))
    path = ""
    for place, y in zip(across[order] * UNITS / 100, down[order], strict=True):
        # Short of the next point the better one up is out of reach: first across, then up.
        path += f"H{place:.0f}V{y:.0f}" if path else f"M{place:.0f} {y:.0f}"
    return path


def _marks(
    x: Axis, y: Axis, x_scale: Scale, y_scale: Scale, on_front: IntArray
) -> tuple[Mark, ...]:
    x_half = COVERAGE_FACTOR * np.nan_to_num(x.uncertainties[on_front])
    y_half = COVERAGE_FACTOR * np.nan_to_num(y.uncertainties[on_front])
    x_values, y_values = x.values[on_front], y.values[on_front]
    columns = (
        _across(x_values, x_scale),
        _down(y_values, y_scale),
        _across(x_values - x_half, x_scale),
        _across(x_values + x_half, x_scale),
        _down(y_values + y_half, y_scale),
        _down(y_values - y_half, y_scale),
    )
    rows: list[list[float]] = np.round(np.column_stack(columns), 2).tolist()
    return tuple(
        Mark(
            number=number,
            at=at,
            y=down,
            bar_from=left,
            bar_to=right,
            bar_top=top,
            bar_bottom=bottom,
            is_numbered=number <= MOST_NUMBERED,
        )
        for number, (at, down, left, right, top, bottom) in enumerate(rows, start=1)
    )


def _ticks(scale: Scale) -> list[tuple[float, str]]:
    """Round values of the scale with room for print between them."""
    span = scale.high - scale.low
    step = 10.0 ** math.floor(math.log10(span))
    for share in (0.2, 0.5, 1.0, 2.0):
        if span / (step * share) <= 5:
            step *= share
            break
    first, last = math.ceil(scale.low / step - 1e-9), math.floor(scale.high / step + 1e-9)
    return [
        (number * step, f"{number * step:.6g}".replace("-", "−"))
        for number in range(first, last + 1)
    ]
