"""Where the headings of a table are, and which character separates its cells.

Both are settled together: the right separator is the one that makes a line read as the
headings of this kind of run. Lines above are a preamble, a row of units may stand below.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from measurements.intake.cells import is_clock, looks_numeric
from measurements.intake.column_maps import ColumnMap
from measurements.intake.columns import Column
from measurements.intake.decoding import Refused, printable
from measurements.intake.heading_lines import (
    MAX_COLUMNS,
    HeadingLine,
    heading_line,
    split_line,
)
from measurements.intake.headings import Heading
from measurements.intake.matches import Matching
from measurements.intake.matching import match_headings
from measurements.intake.records import Lines

SEARCHED_LINES = 200
_SEARCHED_BYTES = 4 << 20
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
WORTH = {"map": 4, "name": 3, "alias": 2, "unit": 1}


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
    def is_mapped(self) -> bool:
        """Whether a column map says what these headings are."""
        return self.matching.applied is not None

    @property
    def complete(self) -> bool:
        """Whether every column that is needed was found without doubt."""
        return not self.matching.problems and not self.clashes

    @property
    def worth(self) -> int:
        """How much of the line was understood; a name counts more than a unit alone."""
        return sum(WORTH[match.by] for match in self.matching.matches)


def _candidate(
    lines: Sequence[str],
    at: int,
    delimiter: str,
    columns: Sequence[Column],
    maps: Sequence[ColumnMap],
) -> Layout | None:
    line = heading_line(lines, at, delimiter, columns)
    if line is None:
        return None
    matching = match_headings(line.headings, columns, maps=maps)
    if not matching.matches and matching.applied is None:
        return None
    return _layout(line, at, delimiter, matching)


def _layout(line: HeadingLine, at: int, delimiter: str, matching: Matching) -> Layout:
    return Layout(
        # With a single column nothing is separated; a tab leaves the comma to the numbers.
        delimiter=delimiter if len(line.headings) > 1 else "\t",
        line=at,
        first=at + 1 + line.has_unit_row,
        headings=line.headings,
        matching=matching,
        has_unit_row=line.has_unit_row,
        # A map names the unit itself.
        clashes=() if matching.applied else line.clashes,
        commented=line.commented,
        regular=line.regular,
    )


def likely_layout(
    lines: Lines, columns: Sequence[Column], *, separators: Collection[str] = SEPARATORS
) -> Layout | None:
    """The line that looks most like headings where none is known, for a person to map.

    It is followed by a row of as many cells that holds a number, and has the most of them;
    None where there is no such line.
    """
    head = _head(lines)
    best: tuple[int, Layout] | None = None
    for at, text in enumerate(head):
        for delimiter in separators:
            if delimiter not in text and delimiter != "\t":
                continue
            line = heading_line(head, at, delimiter, columns)
            if line is None or not line.regular:
                continue
            first = at + 1 + line.has_unit_row
            below = split_line(head[first], delimiter) if first < len(head) else []
            if not any(looks_numeric(cell) or is_clock(cell) for cell in below):
                continue
            width = len(line.headings)
            if best is None or width > best[0]:
                nothing = Matching(matches=(), problems=(), notes=())
                best = width, _layout(line, at, delimiter, nothing)
    return best[1] if best else None


def _head(lines: Lines) -> list[str]:
    """The first lines, among which the headings are looked for."""
    stop = min(len(lines), SEARCHED_LINES)
    while stop > 1 and lines.bounds[stop] - lines.bounds[0] > _SEARCHED_BYTES:
        stop -= 1
    return lines.read(0, stop).split("\n")


def find_layout(
    lines: Lines,
    columns: Sequence[Column],
    *,
    separators: Collection[str] = SEPARATORS,
    maps: Sequence[ColumnMap] = (),
) -> Layout:
    """Find the line of headings among the first lines of the file.

    A line that one of the column `maps` is of is taken before every other. Else the first line
    that names every required column is taken, commented-out lines last;
    without such a line, the one that is understood best, so that its problems can be told.
    A kind that requires no column of numbers, because it takes tables of two forms or of text,
    has the line that is understood best in any case: a stray unit or word in a preamble would
    satisfy it. Cells are separated by one of `separators`.

    Raises
    ------
    Refused
        No line names any column of this kind of run.
    """
    head = _head(lines)
    best: Layout | None = None
    asks_for_numbers = any(column.required and not column.is_text for column in columns)
    for at, line in enumerate(head):
        found = [
            layout
            for delimiter in separators
            if (delimiter in line or delimiter == "\t" or len(separators) == 1)
            and (layout := _candidate(head, at, delimiter, columns, maps)) is not None
        ]
        if not found:
            continue
        here = max(
            found,
            key=lambda item: (
                item.is_mapped,
                item.complete,
                item.regular,
                item.worth,
                len(item.headings),
            ),
        )
        if best is None or _rank(here, asks_for_numbers) > _rank(best, asks_for_numbers):
            best = here
        settled = asks_for_numbers and here.complete and not here.commented
        if here.is_mapped or (settled and not maps):
            break
    if best is None:
        raise _no_headings(head, columns)
    return best


def _rank(layout: Layout, first_is_best: bool) -> tuple[bool, bool, bool, int]:
    # Of several lines that name all that is needed, the first is the headings.
    is_enough = first_is_best and layout.complete and not layout.commented
    worth = 0 if is_enough else layout.worth
    return layout.is_mapped, layout.complete, not layout.commented, worth


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
