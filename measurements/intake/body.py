"""The rows of a table between its headings and whatever stands below the numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measurements.intake.cells import is_clock, looks_numeric
from measurements.intake.columns import IntArray, Problem
from measurements.intake.decoding import Refused
from measurements.intake.layout import Layout
from measurements.intake.problems import Problems
from measurements.intake.records import Lines, Records, find_records

_STAND_INS = {"nan", "null", "none", "nil", "inf", "infinity"}
_SHORTEST_WORD = 3


@dataclass(frozen=True, slots=True)
class Body:
    """The rows of the table: blank lines are still among them, remarks below are not.

    `footer_lines` is how many lines of remarks were left out, `footer_from` the line of the
    first.
    """

    layout: Layout
    records: Records
    footer_lines: int
    footer_from: int

    @property
    def filled(self) -> IntArray:
        """The places of the rows that are not blank lines."""
        return np.flatnonzero(self.records.cells > 0)


def _is_word(cell: str) -> bool:
    letters = 0
    for sign in cell:
        letters = letters + 1 if sign.isalpha() else 0
        if letters == _SHORTEST_WORD:
            return cell.strip(" .#-+").casefold() not in _STAND_INS
    return False


def _is_remark(cells: Sequence[str], layout: Layout) -> bool:
    """Whether a row is text without any number, and not filled like a row of the table."""
    width = len(layout.headings)
    filled = [cell for cell in cells if cell.strip()]
    if any(looks_numeric(cell) or is_clock(cell) for cell in filled) or not _is_word(filled[0]):
        return False
    if any(match.column.is_text for match in layout.matching.matches):
        return len(filled) == 1 and _leaves_open(cells, layout)
    return len(filled) < width or width == 1


def _leaves_open(cells: Sequence[str], layout: Layout) -> bool:
    """Whether the row is shorter than the headings, or lacks a cell that every row needs.

    In a table of text a row of words is data as long as it is complete.
    """
    return len(cells) < len(layout.headings) or any(
        match.column.required and not cells[match.index].strip()
        for match in layout.matching.matches
    )


def find_body(lines: Lines, layout: Layout) -> Body:
    """Part the rows of the table from blank lines and remarks at the end of the file.

    Raises `Refused` when no row is left, or when quotation marks do not pair.
    """
    records = find_records(lines, first=layout.first, delimiter=layout.delimiter)
    stop, footer_lines, footer_from = len(records), 0, 0
    while stop:
        cells = records.read(stop - 1)
        if any(cell.strip() for cell in cells):
            if not _is_remark(cells, layout):
                break
            footer_lines, footer_from = footer_lines + 1, int(records.lines[stop - 1])
        stop -= 1
    body = Body(layout, records.until(stop), footer_lines, footer_from)
    if not np.any(body.records.cells):
        raise Refused(
            f"There are headings in line {layout.line + 1}, but no rows below them. "
            "Send the whole log."
        )
    return body


def check_widths(body: Body, problems: Problems) -> Body:
    """Every row must have as many cells as there are headings; blank ones may follow.

    Returns the body in which lines of spaces are blank lines.
    """
    records, width = body.records, len(body.layout.headings)
    cells_of = records.cells.copy()
    for index in np.flatnonzero((cells_of != width) & (cells_of > 0)):
        cells = records.read(int(index))
        if len(cells) > width and not any(cell.strip() for cell in cells[width:]):
            continue
        if len(cells) == 1 and not cells[0].strip():
            cells_of[index] = 0
        elif problems.count >= problems.kept:
            problems.more(1)
        else:
            problems.add(
                Problem(
                    f"Cells in the row: {len(cells)}, headings: {width}. Complete the row, or put "
                    "a cell that holds a separator between quotation marks.",
                    row=int(records.lines[index]),
                )
            )
    return replace(body, records=replace(records, cells=cells_of))
