"""A table from a text file: every row checked, every number in its canonical unit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from measurements.intake.body import Body, Problems, check_widths, find_body
from measurements.intake.columns import Column, Problem, Reading, Table
from measurements.intake.decoding import Refused, printable, utf8_text
from measurements.intake.layout import SEPARATORS, Layout, find_layout
from measurements.intake.records import find_lines
from measurements.intake.values import read_values


def read_table(path: Path, columns: Sequence[Column], *, file_name: str) -> Reading:
    """Read a CSV or TSV file as the table of a kind of run.

    Parameters
    ----------
    path : Path
        The raw file; it is only read.
    columns : sequence of Column
        What the kind can use; the table holds them in their canonical units.
    file_name : str
        What the sender called the file, for messages.

    Returns
    -------
    Reading
        With a table, or with problems naming line and heading. Problems of the layout
        (encoding, headings, rows of unequal length) come alone: without a layout there are
        no cells to judge.

    Raises
    ------
    OSError
        The file itself cannot be read. No content of a file raises anything.
    """
    notes: list[str] = []
    problems = Problems()
    table: Table | None = None
    try:
        with utf8_text(path) as text:
            notes.append(f"‘{printable(file_name, limit=80)}’ read as {text.encoding} text.")
            lines = find_lines(text)
            layout = find_layout(lines, columns)
            notes += _layout_notes(layout)
            _headings_problems(layout, problems)
            if not problems.count:
                body = check_widths(find_body(lines, layout), problems)
                notes += _footer_notes(body)
                if not problems.count:
                    values = read_values(body, problems)
                    notes += values.notes
                    table = values.table
    except Refused as refusal:
        problems.add(refusal.problem)
    return Reading(
        table=None if problems.count else table,
        problems=problems.first(),
        problem_count=problems.count,
        notes=tuple(notes),
    )


def _headings_problems(layout: Layout, problems: Problems) -> None:
    for problem in layout.matching.problems:
        problems.add(Problem(problem.detail, row=layout.line + 1, column=problem.column))
    for heading in layout.clashes:
        problems.add(
            Problem(
                f"{heading.spoken} names another unit than the row of units below it. "
                "Correct one of the two.",
                row=layout.line + 1,
                column=printable(heading.text.strip()),
            )
        )


def _layout_notes(layout: Layout) -> Iterator[str]:
    if len(layout.headings) > 1:
        yield f"The columns are separated by {SEPARATORS[layout.delimiter]}s."
    if layout.line:
        yield f"{_lines(layout.line)} above the headings skipped."
    yield f"The headings are in line {layout.line + 1}."
    if layout.has_unit_row:
        yield f"Line {layout.line + 2} is a row of units."
    yield from (match.note for match in layout.matching.matches)
    yield from layout.matching.notes


def _footer_notes(body: Body) -> Iterator[str]:
    if body.footer_lines:
        yield (
            f"{_lines(body.footer_lines)} of text below the numbers skipped, from line "
            f"{body.footer_from} on."
        )


def _lines(number: int) -> str:
    return "1 line" if number == 1 else f"{number} lines"
