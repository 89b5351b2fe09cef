"""A line of text taken apart as if it held the headings, with the row of units below it."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from measurements.intake import units
from measurements.intake.cells import looks_numeric
from measurements.intake.columns import Column
from measurements.intake.headings import Heading, parse_heading, with_unit
from measurements.intake.matching import match_headings

MAX_COLUMNS = 512
_LETTER = re.compile(r"[^\W\d_]")


def split_line(line: str, delimiter: str) -> list[str]:
    """The cells of one line; none when its quotation marks do not pair."""
    try:
        return next(csv.reader([line.rstrip("\r\n")], delimiter=delimiter, strict=True), [])
    except csv.Error:
        return []


def _without_last_blanks(cells: list[str]) -> list[str]:
    """The cells up to the last that is filled: a separator at the end begins no column."""
    filled = [at for at, cell in enumerate(cells) if cell.strip()]
    return cells[: filled[-1] + 1] if filled else []


def _unit_row(cells: Sequence[str], width: int) -> list[str] | None:
    """The cells of a row of units, or None when the row is something else."""
    if not any(cell.strip() for cell in cells) or len(cells) > width:
        return None
    spelled = [cell.strip(" \t[]()") for cell in cells]
    if any(looks_numeric(cell) or units.recognise(cell) is None for cell in spelled):
        return None
    return spelled if any(units.recognise(cell) for cell in spelled) else None


def _is_reading(cell: str) -> bool:
    """Whether the cell is a number, alone or with its unit, such as “1 W”; “101 (°C)” is not."""
    number, _, unit = cell.strip().rpartition(" ")
    return looks_numeric(cell) or (looks_numeric(number) and bool(units.recognise(unit)))


def _names_units(row: Sequence[str], text_columns: set[int]) -> bool:
    """Whether a row that reads as units is one: ports are called A, devices V or K as well."""
    spelled = {at for at, cell in enumerate(row) if units.recognise(cell)}
    return bool(spelled) and not spelled & text_columns


@dataclass(frozen=True, slots=True)
class HeadingLine:
    """A line taken apart as if it held the headings; `below` are the cells of the next one."""

    headings: tuple[Heading, ...]
    below: tuple[str, ...]
    has_unit_row: bool
    clashes: tuple[Heading, ...]
    commented: bool

    @property
    def regular(self) -> bool:
        """Whether the next line has as many cells."""
        return len(self.below) == len(self.headings)


def heading_line(
    lines: Sequence[str], at: int, delimiter: str, columns: Sequence[Column]
) -> HeadingLine | None:
    """The line as headings, None where it cannot be any."""
    if not _LETTER.search(lines[at]):
        return None  # rows of numbers are most of what is looked at
    bare = lines[at].lstrip()
    commented = bare.startswith("#")
    cells = split_line(bare.lstrip("# ") if commented else lines[at], delimiter)
    if not any(cell.strip() for cell in cells) or len(cells) > MAX_COLUMNS:
        return None
    if any(_is_reading(cell) for cell in cells):
        return None  # a setting above the table: a heading is never a bare number
    cells = _without_last_blanks(cells)
    headings = [parse_heading(cell) for cell in cells]
    if not any(heading.name for heading in headings):
        return None  # a row of units is not the headings, though each unit might be one
    below = split_line(lines[at + 1], delimiter) if at + 1 < len(lines) else []
    below = below[: len(cells)] + _without_last_blanks(below[len(cells) :])
    text_columns = _text_columns(headings, columns)
    row = _unit_row(below, len(cells))
    if row is not None and not _names_units(row, text_columns):
        row = None
    clashes = []
    if row is not None:
        row += [""] * (len(cells) - len(row))
        clashes = [
            heading
            for at, (heading, unit) in enumerate(zip(headings, row, strict=True))
            if unit
            and at not in text_columns
            and heading.unit is not None
            and heading.unit != units.recognise(unit)
        ]
        headings = [with_unit(item, unit) for item, unit in zip(headings, row, strict=True)]
    return HeadingLine(tuple(headings), tuple(below), row is not None, tuple(clashes), commented)


def _text_columns(headings: Sequence[Heading], columns: Sequence[Column]) -> set[int]:
    """The places of the headings that are columns of text; a row of units changes none."""
    if not any(column.is_text for column in columns):
        return set()
    return {
        match.index for match in match_headings(headings, columns).matches if match.column.is_text
    }
