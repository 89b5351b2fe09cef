"""A chart on a page: its drawing in all sizes, what is shown of it, and how to look closer.

All of it works as links and a form; the script of charts only spares the way to the server.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import QueryDict

from measurements.charts import WHOLE, Shown, read_shown
from measurements.charts.labels import Axis, Trace
from measurements.charts.shown import FINEST, whole_axis
from measurements.views.drawings import asked_for

_UNIT = re.compile(r"^(?P<words>.*?)(?: \[(?P<bracketed>[^\]]+)\]|, (?P<after>[^,]{1,8}))?$")


@dataclass(frozen=True, slots=True)
class Addresses:
    """Where the drawing is to be had as SVG and PNG, and its numbers as CSV."""

    svg: str
    png: str
    csv: str


@dataclass(frozen=True, slots=True)
class FigureLine:
    """A line of the chart; `place` counts the columns of the CSV from 0."""

    column: str
    label: str
    place: int
    is_hidden: bool


@dataclass(frozen=True, slots=True)
class Figure:
    """What the template of charts shows.

    `kept` is what else page and drawing are asked for; `typed` are the bounds as they were given;
    `error` says why they were not followed, and is empty otherwise.
    """

    addresses: Addresses
    title: str
    whole: Axis
    x_title: str
    y_title: str
    lines: tuple[FigureLine, ...]
    kept: tuple[tuple[str, str], ...]
    shown: Shown
    typed: tuple[str, str]
    error: str = ""

    @property
    def is_narrowed(self) -> bool:
        """Whether the form below the chart has something to say."""
        return bool(self.error) or self.shown != WHOLE

    @property
    def x_words(self) -> str:
        """What the x axis is, without its unit."""
        return _parts(self.x_title)[0]

    @property
    def x_unit(self) -> str:
        """Its unit; empty for a plain number."""
        return _parts(self.x_title)[1]

    @property
    def y_unit(self) -> str:
        """The unit of every line."""
        return _parts(self.y_title)[1]

    @property
    def query(self) -> str:
        """What goes before theme and size in the query of a drawing; ends with “&” or is empty."""
        query = self.everything if self.error else self._query(*self.typed)
        return f"{query}&" if query else ""

    @property
    def closer(self) -> str:
        """The query of the page that shows the middle half of the stretch."""
        return self._around(0.5)

    @property
    def wider(self) -> str:
        """The query of the page that shows twice the stretch."""
        return self._around(2.0)

    @property
    def everything(self) -> str:
        """The query of the page that shows the whole stretch."""
        return self._query("", "")

    @property
    def in_words(self) -> str:
        """What is shown, as a clause."""
        low, high = self.shown.stretch(self.whole)
        stretch = Axis(low, high, 1)
        words = f"{place(low, stretch)} to {place(high, stretch)}"
        if stretch != self.whole:
            ends = (place(end, self.whole) for end in (self.whole.low, self.whole.high))
            words += f" of {' to '.join(ends)}"
        words += f" {self.x_unit}" if self.x_unit else ""
        hidden = [line.label for line in self.lines if line.is_hidden]
        return f"{words}, without {', '.join(hidden)}" if hidden else words

    @property
    def lines_as_json(self) -> str:
        """Column, label and place of every line, for the script."""
        return json.dumps([[line.column, line.label, line.place] for line in self.lines])

    def _around(self, factor: float) -> str:
        low, high = self.shown.stretch(self.whole)
        full = self.whole.high - self.whole.low
        width = max((high - low) * factor, 2 * FINEST * full)
        if width >= full:
            return self.everything
        start = min(max((low + high - width) / 2, self.whole.low), self.whole.high - width)
        stretch = Axis(start, start + width, 1)
        return self._query(place(start, stretch), place(start + width, stretch))

    def _query(self, start: str, stop: str) -> str:
        bounds = [(name, text) for name, text in (("from", start), ("to", stop)) if text]
        hidden = [("hide", line.column) for line in self.lines if line.is_hidden]
        return urlencode([*self.kept, *bounds, *hidden])


def figure(
    query: QueryDict,
    plot: Mapping[str, Any],
    trace: Trace,
    *,
    addresses: Addresses,
    columns: Sequence[str],
    kept: Sequence[tuple[str, str]] = (),
) -> Figure:
    """The chart of a page as the page's own query asks for it.

    Parameters
    ----------
    query : QueryDict
        Of the page.
    plot, trace : mapping
        As `plot_svg` draws them.
    columns : sequence of str
        Of the CSV, as the trace calls them.
    kept : sequence of (str, str)
        What else page and drawing are asked for.
    """
    asked, error, shown = asked_for(query), "", WHOLE
    try:
        shown = read_shown(asked, plot, trace)
    except ValueError as refusal:
        error = str(refusal)
    return Figure(
        addresses=addresses,
        title=plot["title"],
        whole=whole_axis(plot, trace),
        x_title=plot["x_title"],
        y_title=plot["y_title"],
        lines=tuple(
            FigureLine(
                line["column"],
                line["label"],
                columns.index(line["column"]),
                line["column"] in shown.hidden,
            )
            for line in plot["lines"]
        ),
        kept=tuple(kept),
        shown=shown,
        typed=(_last(asked, "from"), _last(asked, "to")),
        error=error,
    )


def place(value: float, axis: Axis) -> str:
    """A place on the axis, as exact as a reader could see it there: a thousandth of it."""
    digits = max(0, 3 - math.floor(math.log10(axis.high - axis.low)))
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def _last(asked: Mapping[str, Sequence[str]], name: str) -> str:
    return next(iter(reversed(asked.get(name, ()))), "").strip()


def _parts(title: str) -> tuple[str, str]:
    """A title of an axis and its unit: “Time [min]” or “Charging power, W”."""
    found = _UNIT.match(title)
    assert found is not None
    return found["words"], found["bracketed"] or found["after"] or ""
