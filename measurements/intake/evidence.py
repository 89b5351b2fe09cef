"""What was seen in a file and how it was understood, for the person who has to agree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

DecimalMark = Literal["", ".", ","]
ReadBy = Literal["", "name", "alias", "unit", "map"]


@dataclass(frozen=True, slots=True)
class HeadingSeen:
    """A heading and what it was taken for.

    `text` and `unit_text` (its cell of a row of units, "" without one) are as the file spells
    them; `unit` is the unit library's name of the unit that either names, "" for none or an
    unknown one. `column` is the canonical name that it was read as, "" for none; `read_unit` the
    unit of its cells then (None for clock stamps). `could_be` are the canonical names of columns
    that it might be, where another heading might be it as well or its unit does not fit: the
    person is asked. `example` is its first
    filled cell.
    """

    text: str
    unit_text: str = ""
    unit: str = ""
    column: str = ""
    read_unit: str | None = None
    by: ReadBy = ""
    could_be: tuple[str, ...] = ()
    example: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """How a file was understood, each guess with the place that it rests on.

    `format` is what the file is in words ("text", "workbook", …); `encoding` and `separator` are
    words too, "" where they do not apply. `sheet` is the worksheet that was read, `sheets` those
    there are. `row` is the row of the headings as `Problem` counts it (None in files that have
    no such row) and `line` its text; `unit_row` the row of units. `decimal` is the decimal mark
    that the cells show, "" where they show none; `decimal_open` says that they can be read
    with either. `map_name` is the column map that was applied, "" for none.
    """

    format: str
    headings: tuple[HeadingSeen, ...] = ()
    encoding: str = ""
    separator: str = ""
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    row: int | None = None
    line: str = ""
    unit_row: int | None = None
    decimal: DecimalMark = ""
    decimal_open: bool = False
    map_name: str = ""


@dataclass(frozen=True, slots=True)
class SampleRow:
    """A row of the table as it was read, to look at before anything is computed.

    `row` is the row of the file, `role` why it is shown: ``first``, ``last``, or ``extreme``
    for one that holds the smallest or largest number of a column. `cells` are by canonical name,
    numbers in the canonical unit, None for a blank; `extremes` the names of the columns whose
    extreme it holds.
    """

    row: int
    role: Literal["first", "last", "extreme"]
    cells: tuple[float | str | None, ...]
    extremes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sample:
    """Rows of a table: names, titles and units of its columns, and the rows that are shown."""

    names: tuple[str, ...]
    titles: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[SampleRow, ...]
    row_count: int

    def as_json(self) -> dict[str, Any]:
        """Plain JSON."""
        return {
            "names": list(self.names),
            "titles": list(self.titles),
            "units": list(self.units),
            "row_count": self.row_count,
            "rows": [
                {
                    "row": item.row,
                    "role": item.role,
                    "cells": list(item.cells),
                    "extremes": list(item.extremes),
                }
                for item in self.rows
            ],
        }
