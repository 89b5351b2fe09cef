"""Where the names of series, rules and bands go, so that none covers another."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from measurements.charts.look import Palette, Sheet

Trace = Mapping[str, Sequence[float | None]]

# Widths of text are estimated: a sans letter is about this share of its size wide.
LETTER = 0.56
# A series that ends left of this share of the plot is named at its end, unless another goes on
# through the name; the others are named at the edge.
EDGE = 0.9
LINE_GAP = 2


@dataclass(frozen=True, slots=True)
class Axis:
    """A linear scale: domain in data units, `length` in px."""

    low: float
    high: float
    length: int

    def pixel(self, value: float) -> float:
        """Distance from the low end [px]."""
        return (value - self.low) / (self.high - self.low) * self.length


@dataclass(frozen=True, slots=True)
class TopLabel:
    """A name above the plot, at `x` px, in one of several rows (0 is the lowest)."""

    text: str
    x: float
    align: Literal["left", "right"]
    row: int


@dataclass(frozen=True, slots=True)
class SideLabel:
    """A name right of `x` px, centred at `y` px from the top; `lines` of text."""

    lines: tuple[str, ...]
    x: float
    y: float
    colour: str


def domain(
    values: Iterable[float | None], also: Iterable[float], *, length: int, pad: float
) -> Axis:
    """The range of the values and of what else must be seen; never empty.

    Parameters
    ----------
    values, also : iterable of float
        What is drawn [data units]; None is a gap.
    length : int
        Of the axis [px].
    pad : float
        Room on both sides, as a share of the range [1].
    """
    seen = [value for value in (*values, *also) if value is not None]
    low, high = min(seen, default=0.0), max(seen, default=1.0)
    if low == high:
        low, high = low - (abs(low) / 2 or 0.5), high + (abs(high) / 2 or 0.5)
    room = pad * (high - low)
    return Axis(low - room, high + room, length)


def top_labels(plot: Mapping[str, Any], *, x_axis: Axis, sheet: Sheet) -> list[TopLabel]:
    """Names of bands and of upright rules, in as many rows as keep them apart."""
    wanted = [
        *((band["start"], band["label"]) for band in plot["bands"]),
        *((rule["value"], rule["label"]) for rule in plot["rules"] if rule["axis"] == "x"),
    ]
    placed: list[TopLabel] = []
    ends: list[float] = []
    for value, text in sorted(wanted):
        start = max(0.0, x_axis.pixel(value))
        width = len(text) * sheet.font * LETTER + 10
        at_right = start + width > x_axis.length
        left = start - width if at_right else start
        row = next((row for row, end in enumerate(ends) if end <= left), len(ends))
        ends[row : row + 1] = [left + width]
        placed.append(TopLabel(text, start, "right" if at_right else "left", row))
    return placed


def needs_side(plot: Mapping[str, Any]) -> bool:
    """Whether names stand right of the plot; a single series is named by its axis already."""
    return len(plot["lines"]) > 1 or any(rule["axis"] == "y" for rule in plot["rules"])


def side_labels(
    plot: Mapping[str, Any],
    trace: Trace,
    *,
    x_axis: Axis,
    y_axis: Axis,
    sheet: Sheet,
    palette: Palette,
) -> list[SideLabel]:
    """Names of series where they end and of level rules, moved apart where they collide."""
    labels = []
    if len(plot["lines"]) > 1:
        for position, (line, name) in enumerate(
            zip(plot["lines"], _names(plot["lines"]), strict=True)
        ):
            end = _end(trace[plot["x"]], trace[line["column"]])
            if end is not None:
                label = SideLabel(
                    tuple(textwrap.wrap(name, sheet.label_characters)),
                    x_axis.pixel(end[0]),
                    y_axis.length - y_axis.pixel(end[1]),
                    palette.series[position % len(palette.series)],
                )
                others = [trace[other["column"]] for other in plot["lines"] if other != line]
                drawn = [
                    (x_axis.pixel(x), y_axis.length - y_axis.pixel(y))
                    for other in others
                    for x, y in zip(trace[plot["x"]], other, strict=True)
                    if x is not None and y is not None
                ]
                if label.x >= EDGE * x_axis.length or _covers(label, drawn, sheet=sheet):
                    label = replace(label, x=float(x_axis.length))
                labels.append(label)
    labels += [
        SideLabel(
            tuple(textwrap.wrap(rule["label"], sheet.label_characters)),
            x_axis.length,
            y_axis.length - y_axis.pixel(rule["value"]),
            palette.ink,
        )
        for rule in plot["rules"]
        if rule["axis"] == "y"
    ]
    groups: list[list[SideLabel]] = []
    for label in sorted(labels, key=lambda label: label.x):
        if groups and any(label.x < _right(other, sheet=sheet) for other in groups[-1]):
            groups[-1].append(label)
        else:
            groups.append([label])
    return [
        label
        for group in groups
        for label in _apart(group, sheet=sheet, length=y_axis.length, width=x_axis.length)
    ]


def _names(lines: Sequence[Mapping[str, Any]]) -> list[str]:
    """Names of the series; two of the same label are told apart by their column."""
    labels = [str(line["label"]) for line in lines]
    return [
        label if labels.count(label) == 1 else f"{label} ({line['column']})"
        for label, line in zip(labels, lines, strict=True)
    ]


def _end(
    x_values: Sequence[float | None], y_values: Sequence[float | None]
) -> tuple[float, float] | None:
    for x, y in zip(reversed(x_values), reversed(y_values), strict=True):
        if x is not None and y is not None:
            return x, y
    return None


def _right(label: SideLabel, *, sheet: Sheet) -> float:
    """Where the text of a label ends [px]."""
    return label.x + 9 + max(map(len, label.lines), default=0) * sheet.font * LETTER


def _covers(label: SideLabel, points: Iterable[tuple[float, float]], *, sheet: Sheet) -> bool:
    """Whether the text of a label, or a neighbour that it may push, lies on one of the points."""
    reach = len(label.lines) * (sheet.font + 2)
    right = _right(label, sheet=sheet)
    return any(label.x < x < right and abs(y - label.y) < reach for x, y in points)


def _apart(labels: list[SideLabel], *, sheet: Sheet, length: int, width: int) -> list[SideLabel]:
    """Push labels down until none covers the one above, then up from the foot of the plot."""
    labels = sorted(labels, key=lambda label: label.y)
    halves = [len(label.lines) * (sheet.font + 2) / 2 for label in labels]
    centres = [label.y for label in labels]
    floor = float("-inf")
    for index, half in enumerate(halves):
        centres[index] = max(centres[index], floor + half)
        floor = centres[index] + half + LINE_GAP
    # Right of the plot a name may hang below its foot; within, it would cover the axis.
    within = any(label.x < width for label in labels)
    ceiling = float(length if within else length + sheet.font)
    for index in reversed(range(len(halves))):
        centres[index] = min(centres[index], ceiling - halves[index])
        ceiling = centres[index] - halves[index] - LINE_GAP
    return [replace(label, y=centre) for label, centre in zip(labels, centres, strict=True)]
