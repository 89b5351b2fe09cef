"""Where the headings of a table are, and which character separates its cells.

Both are settled together: the right separator is the one that makes a line read as the
headings of this kind of run. Lines above are a preamble, a row of units may stand below.
"""

from __future__ import annotations

import csv
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from measurements.intake import units
from measurements.intake.cells import looks_numeric
from measurements.intake.columns import Column
from measurements.intake.decoding import Refused, printable
from measurements.intake.headings import (
    Heading,
    Matching,
    match_headings,
    parse_heading,
    with_unit,
)
from measurements.intake.records import Lines

MAX_COLUMNS = 512
SEARCHED_LINES = 200
_SEARCHED_BYTES = 4 << 20
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
_WORTH = {"name": 3, "alias": 2, "unit": 1}


@dataclass(frozen=True, slots=True)
class Layout:
    """How the table lies in the file; lines are counted from 0.

    `first` is the line below the headings and the row of units. `clashes` are the headings
    whose unit differs from that of the row of units.
    """

    delimiter: str
    line: int
    first: int
    headings: tuple[Heading, ...]
    matching: Matching
    has_unit_row: bool
    clashes: tuple[Heading, ...]
    commented: bool
    regular: bool

    @property
    def complete(self) -> bool:
        """Whether every column that is needed was found without doubt."""
        return not self.matching.problems and not self.clashes

    @property
    def worth(self) -> int:
        """How much of the line was understood; a name counts more than a unit alone."""
        return sum(_WORTH[match.by] for match in self.matching.matches)


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


def _candidate(
    lines: Sequence[str], at: int, delimiter: str, columns: Sequence[Column]
) -> Layout | None:
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
    matching = match_headings(headings, columns)
    if not matching.matches:
        return None
    return Layout(
        # With a single column nothing is separated; a tab leaves the comma to the numbers.
        delimiter=delimiter if len(cells) > 1 else "\t",
        line=at,
        first=at + 1 + (row is not None),
        headings=tuple(headings),
        matching=matching,
        has_unit_row=row is not None,
        clashes=tuple(clashes),
        commented=commented,
        regular=len(below) == len(cells),
    )


def _text_columns(headings: Sequence[Heading], columns: Sequence[Column]) -> set[int]:
    """The places of the headings that are columns of text; a row of units changes none."""
    if not any(column.is_text for column in columns):
        return set()
    return {
        match.index for match in match_headings(headings, columns).matches if match.column.is_text
    }


def find_layout(
    lines: Lines, columns: Sequence[Column], *, separators: Collection[str] = SEPARATORS
) -> Layout:
    """Find the line of headings among the first lines of the file.

    The first line that names every required column is taken, commented-out lines last;
    without such a line, the one that is understood best, so that its problems can be told.
    A kind that requires no column of numbers, because it takes tables of two forms or of text,
    has the line that is understood best in any case: a stray unit or word in a preamble would
    satisfy it. Cells are separated by one of `separators`.

    Raises
    ------
    Refused
        No line names any column of this kind of run.
    """
    stop = min(len(lines), SEARCHED_LINES)
    while stop > 1 and lines.bounds[stop] - lines.bounds[0] > _SEARCHED_BYTES:
        stop -= 1
    head = lines.read(0, stop).split("\n")
    best: Layout | None = None
    asks_for_numbers = any(column.required and not column.is_text for column in columns)
    for at, line in enumerate(head):
        found = [
            layout
            for delimiter in separators
            if (delimiter in line or delimiter == "\t" or len(separators) == 1)
            and (layout := _candidate(head, at, delimiter, columns)) is not None
        ]
        if not found:
            continue
        here = max(
            found,
            key=lambda item: (item.complete, item.regular, item.worth, len(item.headings)),
        )
        if best is None or _rank(here) > _rank(best):
            best = here
        if asks_for_numbers and here.complete and not here.commented:
            break
    if best is None:
        raise _no_headings(head, columns)
    return best


def _rank(layout: Layout) -> tuple[bool, bool, int]:
    return layout.complete, not layout.commented, layout.worth


def _no_headings(head: Sequence[str], columns: Sequence[Column]) -> Refused:
    if not any(line.strip() for line in head):
        return Refused("The file holds blank lines only. Send the log itself.")
    widest = max(range(len(head)), key=lambda at: max(map(head[at].count, SEPARATORS)))
    if max(map(head[widest].count, SEPARATORS)) >= MAX_COLUMNS:
        return Refused(
            f"The line has more than {MAX_COLUMNS} cells. Keep the columns that are needed.",
            row=widest + 1,
        )
    required = [column for column in columns if column.required]
    wanted = ", ".join(f"‘{column.name}’" for column in required or columns)
    first = next(line for line in head if line.strip())
    return Refused(
        f"None of the first {len(head)} lines holds the headings of this kind of run. Put a line "
        f"such as {wanted} above the rows. The file begins with ‘{printable(first.strip())}’."
    )
