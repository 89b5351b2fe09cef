"""What of a chart is shown: a stretch of its x axis, without some of its lines.

A chart is cut, not filtered: where a line crosses the end of the stretch it is drawn up to it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from measurements.charts.labels import Axis, Trace, domain

STATE = ("from", "to", "hide")
"""The query parameters that say it, of a drawing and of the page that holds it."""

FINEST = 1e-4
"""The shortest stretch, as a share of the whole [1]: less than a pixel of any chart."""


@dataclass(frozen=True, slots=True)
class Shown:
    """From `start` to `stop` [units of the x axis; None: its end], without `hidden` columns."""

    start: float | None = None
    stop: float | None = None
    hidden: frozenset[str] = frozenset()

    @property
    def in_order(self) -> tuple[object, ...]:
        """All that tells it from another, in an order that does not vary."""
        return (self.start, self.stop, *sorted(self.hidden))

    def stretch(self, whole: Axis) -> tuple[float, float]:
        """The ends of what is shown of `whole` [units of the axis]."""
        low = whole.low if self.start is None else max(self.start, whole.low)
        high = whole.high if self.stop is None else min(self.stop, whole.high)
        return low, high


WHOLE = Shown()


@dataclass(frozen=True, slots=True)
class Cut:
    """A plot and its trace, cut; `made` are the rows put in at the ends of the stretch."""

    plot: Mapping[str, Any]
    trace: Trace
    made: frozenset[int]


def whole_axis(plot: Mapping[str, Any], trace: Trace, *, length: int = 1) -> Axis:
    """The x axis of everything, upright rules included; `length` in px."""
    rules = [rule["value"] for rule in plot["rules"] if rule["axis"] == "x"]
    return domain(trace[plot["x"]], rules, length=length, pad=0.0)


def read_shown(asked: Mapping[str, Sequence[str]], plot: Mapping[str, Any], trace: Trace) -> Shown:
    """What a query asks to be shown of a chart.

    Parameters
    ----------
    asked : mapping
        The texts of ``from``, ``to`` and ``hide``; an empty text is no bound.
    plot, trace : mapping
        The chart, as `plot_svg` draws it.

    Raises
    ------
    ValueError
        With a sentence for whoever asked: no number, a stretch that runs backwards, is too short
        or lies outside the chart, or a line that there is not.
    """
    whole = whole_axis(plot, trace)
    start, stop = _bound(asked, "from"), _bound(asked, "to")
    columns = [line["column"] for line in plot["lines"]]
    for name in asked.get("hide", ()):
        if name not in columns:
            raise ValueError(
                f"There is no line “{name[:60]}” in this chart; its lines are {', '.join(columns)}."
            )
    shown = Shown(start, stop, frozenset(asked.get("hide", ())))
    if start is not None and stop is not None and start >= stop:
        raise ValueError(f"A chart runs from less to more; {start:g} is not less than {stop:g}.")
    low, high = shown.stretch(whole)
    if low >= high:
        raise ValueError(
            f"This chart reaches from {whole.low:g} to {whole.high:g}; what was asked for lies "
            "outside it."
        )
    if high - low < FINEST * (whole.high - whole.low):
        raise ValueError("That stretch is shorter than a ten-thousandth of the chart.")
    return shown


def _bound(asked: Mapping[str, Sequence[str]], name: str) -> float | None:
    text = next(iter(reversed(asked.get(name, ()))), "").strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"“{name}” is a number on the x axis, not “{text[:60]}”.")
    return value


def cut(plot: Mapping[str, Any], trace: Trace, shown: Shown) -> Cut:
    """The chart between the ends of what is shown; a hidden line is one long gap.

    Its place among the lines stays, and with it the colours and dashes of all.
    """
    if shown.start is None and shown.stop is None:
        return Cut(plot, _without(trace, shown.hidden), frozenset())
    low, high = shown.stretch(whole_axis(plot, trace))
    pieces = _Pieces(plot, trace, low=low, high=high)
    narrowed = {
        **plot,
        "rules": [
            rule for rule in plot["rules"] if rule["axis"] == "y" or low <= rule["value"] <= high
        ],
        "bands": [band for band in plot["bands"] if band["start"] < high and band["stop"] > low],
    }
    return Cut(narrowed, _without(pieces.trace, shown.hidden), frozenset(pieces.made))


def _without(trace: Trace, hidden: frozenset[str]) -> Trace:
    if not hidden:
        return trace
    return {
        name: [None] * len(column) if name in hidden else column for name, column in trace.items()
    }


class _Pieces:
    """The rows between two ends. X may run back and forth: pieces are kept apart by a gap."""

    def __init__(self, plot: Mapping[str, Any], trace: Trace, *, low: float, high: float) -> None:
        self._x = plot["x"]
        self._lines = list(dict.fromkeys(line["column"] for line in plot["lines"]))
        # Points that nothing joins have no value between them.
        self._joined = {line["column"] for line in plot["lines"] if line["mark"] != "point"}
        self._source = trace
        self.trace: dict[str, list[float | None]] = {name: [] for name in (self._x, *self._lines)}
        self.made: set[int] = set()
        self._is_left = False
        before: int | None = None
        for row, x in enumerate(trace[self._x]):
            if x is None:
                continue
            if before is not None:
                self._cross(before, row, ends=(low, high))
            if low <= x <= high:
                self._keep(x, [trace[name][row] for name in self._lines])
            else:
                self._is_left = bool(self.trace[self._x])
            before = row

    def _cross(self, before: int, row: int, *, ends: tuple[float, float]) -> None:
        """Put in a row at each end that lies between two rows, in the order of travel."""
        old, new = self._source[self._x][before], self._source[self._x][row]
        assert old is not None
        assert new is not None
        between = [end for end in ends if min(old, new) < end < max(old, new)]
        for end in between if old < new else reversed(between):
            share = (end - old) / (new - old)
            self._keep(end, [self._at(name, before, row, share) for name in self._lines], made=True)

    def _at(self, name: str, before: int, row: int, share: float) -> float | None:
        one, other = self._source[name][before], self._source[name][row]
        if name not in self._joined or one is None or other is None:
            return None
        return one + share * (other - one)

    def _keep(self, x: float, values: Sequence[float | None], *, made: bool = False) -> None:
        if self._is_left:
            self._is_left = False
            self._keep(x, [None] * len(values), made=True)
        if made:
            self.made.add(len(self.trace[self._x]))
        self.trace[self._x].append(x)
        for name, value in zip(self._lines, values, strict=True):
            self.trace[name].append(value)
