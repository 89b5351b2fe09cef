"""A comparison table as a drawing: where each piece of text and each hairline goes.

Pure: content and address in, a drawing in pixels out. Widths are estimated from numbers of
letters, since nobody measures type here; columns are wide enough for the estimate.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any, Literal

from measurements.charts.look import PALETTES, SANS, SERIF, Palette, Theme

Anchor = Literal["start", "end"]

_PAD = 24
_LABEL = 270
_FONT = 14
_SMALL = 12
_TITLE = 22
_LINE = 19
_SMALL_LINE = 16
# Mean width of a letter as a share of the size of type, with room for wider fonts.
_LETTER = 0.58
_NARROWEST = 116
_LEAST_WIDTH = 640


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text; `x`, `y` is the end of its base line that `anchor` names [px]."""

    x: float
    y: float
    text: str
    anchor: Anchor
    size: int
    colour: str
    family: str
    weight: int = 400


@dataclass(frozen=True, slots=True)
class Rule:
    """A line across the table at `y` [px]."""

    y: float
    colour: str


@dataclass(slots=True)
class _Pen:
    """Where the next line begins, and what was drawn."""

    palette: Palette
    y: float = float(_PAD)
    texts: list[Text] = field(default_factory=list)
    rules: list[Rule] = field(default_factory=list)

    def line(self, height: float) -> None:
        self.y += height

    def rule(self, *, strong: bool = False) -> None:
        self.rules.append(Rule(self.y, self.palette.ink if strong else self.palette.hairline))

    def write(
        self,
        x: float,
        text: str,
        *,
        anchor: Anchor = "start",
        size: int = _FONT,
        muted: bool = False,
        serif: bool = False,
        bold: bool = False,
        down: float = 0.0,
    ) -> None:
        self.texts.append(
            Text(
                x,
                self.y + down,
                text,
                anchor,
                size,
                self.palette.muted if muted else self.palette.ink,
                SERIF if serif else SANS,
                700 if bold else 400,
            )
        )


@dataclass(frozen=True, slots=True)
class TableImage:
    """The drawing [px] with its colours."""

    width: int
    height: int
    paper: str
    texts: tuple[Text, ...]
    rules: tuple[Rule, ...]
    left: int
    right: int
    title: str


@dataclass(frozen=True, slots=True)
class ImageRow:
    """A row as the drawing writes it; a cell is its lines, the first one bold where it is best."""

    section: str
    title: str
    condition: str
    cells: tuple[tuple[Sequence[str], bool], ...]


def table_image(
    content: Mapping[str, Any],
    rows: Sequence[ImageRow],
    *,
    remarks: Sequence[str],
    foot: Sequence[str],
    theme: Theme,
) -> TableImage:
    """Lay out a table of `content`, whose `rows` are in words; `foot` stands below all else."""
    palette = PALETTES[theme]
    pen = _Pen(palette)
    columns = content["adapters"]
    column = max(
        [
            _NARROWEST,
            *(_width(line) + 18 for row in rows for lines, _ in row.cells for line in lines),
        ]
    )
    width = max(_LEAST_WIDTH, _PAD * 2 + _LABEL + column * len(columns))
    column = (width - 2 * _PAD - _LABEL) / max(1, len(columns))
    ends = [_PAD + _LABEL + column * (at + 1) for at in range(len(columns))]
    for line in _wrapped(content["title"], width - 2 * _PAD, size=_TITLE):
        pen.line(_TITLE + 6)
        pen.write(_PAD, line, size=_TITLE, serif=True, bold=True)
    pen.line(10)
    _head(pen, columns, ends=ends, column=column)
    for section, held in groupby(rows, key=lambda row: row.section):
        pen.line(30)
        pen.write(_PAD, section, size=16, serif=True, bold=True)
        pen.line(9)
        pen.rule()
        for row in held:
            _row(pen, row, ends=ends, column=column)
    pen.line(10)
    for text in (*remarks, *foot):
        for line in _wrapped(text, width - 2 * _PAD, size=_SMALL):
            pen.line(_SMALL_LINE)
            pen.write(_PAD, line, size=_SMALL, muted=True)
        pen.line(4)
    return TableImage(
        width=math.ceil(width),
        height=math.ceil(pen.y + _PAD),
        paper=palette.paper,
        texts=tuple(pen.texts),
        rules=tuple(pen.rules),
        left=_PAD,
        right=math.ceil(width) - _PAD,
        title=content["title"],
    )


def _head(
    pen: _Pen, columns: Sequence[Mapping[str, Any]], *, ends: Sequence[float], column: float
) -> None:
    """Names of the adapters, each above its column, under the headings of their groups."""
    if any(item.get("group") for item in columns):
        pen.line(_SMALL_LINE)
        at = 0
        for group, held in groupby(columns, key=lambda item: item.get("group", "")):
            at += len(list(held))
            pen.write(ends[at - 1], group, anchor="end", size=_SMALL, serif=True, bold=True)
        pen.line(4)
    names = [
        (_wrapped(item["maker"], column - 12, size=_SMALL), _wrapped(item["name"], column - 12))
        for item in columns
    ]
    deepest = max(
        (len(maker) * _SMALL_LINE + len(name) * _LINE for maker, name in names), default=_LINE
    )
    for end, (maker, name) in zip(ends, names, strict=True):
        down = deepest - len(maker) * _SMALL_LINE - len(name) * _LINE
        for text in maker:
            down += _SMALL_LINE
            pen.write(end, text, anchor="end", size=_SMALL, muted=True, down=down)
        for text in name:
            down += _LINE
            pen.write(end, text, anchor="end", bold=True, down=down)
    pen.line(deepest + 9)
    pen.rule(strong=True)


def _row(pen: _Pen, row: ImageRow, *, ends: Sequence[float], column: float) -> None:
    titles = _wrapped(row.title, _LABEL - 12)
    conditions = _wrapped(row.condition, _LABEL - 12, size=_SMALL)
    down = 3.0
    for text in titles:
        down += _LINE
        pen.write(_PAD, text, down=down)
    for text in conditions:
        down += _SMALL_LINE
        pen.write(_PAD, text, size=_SMALL, muted=True, down=down)
    deepest = down
    for end, (lines, best) in zip(ends, row.cells, strict=True):
        down = 3.0
        for at, line in enumerate(lines):
            first = at == 0
            for text in _wrapped(line, column - 12, size=_FONT if first else _SMALL):
                down += _LINE if first else _SMALL_LINE
                pen.write(
                    end,
                    text,
                    anchor="end",
                    size=_FONT if first else _SMALL,
                    muted=not first,
                    bold=first and best,
                    down=down,
                )
        deepest = max(deepest, down)
    pen.line(deepest + 9)
    pen.rule()


def _width(text: str, *, size: int = _FONT) -> float:
    """Estimated width of a text [px]."""
    return len(text) * size * _LETTER


def _wrapped(text: str, width: float, *, size: int = _FONT) -> list[str]:
    """A text in lines of at most that width [px]."""
    return textwrap.wrap(text, max(4, int(width / (size * _LETTER))))
