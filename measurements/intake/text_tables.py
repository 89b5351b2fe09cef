"""A table from text, such as CSV, or a worksheet written as CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from measurements.intake.body import Body, check_widths, find_body
from measurements.intake.columns import Column, Problem, Table
from measurements.intake.decoding import printable, utf8_text
from measurements.intake.layout import SEPARATORS, Layout, find_layout
from measurements.intake.problems import Draft, Problems
from measurements.intake.records import Lines, find_lines
from measurements.intake.values import read_values


def read_text(path: Path, columns: Sequence[Column], draft: Draft) -> Table | None:
    """The table of a CSV or TSV file, None with problems. Raises `Refused`."""
    with utf8_text(path) as text:
        draft.notes.append(f"{draft.spoken} read as {text.encoding} text.")
        lines = find_lines(text)
        layout = find_layout(lines, columns)
        if len(layout.headings) > 1:
            draft.notes.append(f"The columns are separated by {SEPARATORS[layout.delimiter]}s.")
        draft.notes.extend(layout_notes(layout, row="line"))
        return read_rows(lines, layout, draft)


def read_rows(lines: Lines, layout: Layout, draft: Draft) -> Table | None:
    """The table below the headings that were found, None with problems. Raises `Refused`."""
    _headings_problems(layout, draft.problems)
    if draft.problems.count:
        return None
    body = check_widths(find_body(lines, layout), draft.problems)
    draft.notes.extend(_footer_notes(body))
    return _read_body(body, draft)


def _read_body(body: Body, draft: Draft) -> Table | None:
    if draft.problems.count:
        return None
    values = read_values(body, draft.problems)
    draft.notes.extend(values.notes)
    return values.table


def layout_notes(layout: Layout, *, row: str) -> Iterator[str]:
    """How the headings were read; `row` is what a row is called, such as line."""
    if layout.line:
        yield f"{_counted(layout.line, row)} above the headings skipped."
    yield f"The headings are in {row} {layout.line + 1}."
    if layout.has_unit_row:
        yield f"{row.capitalize()} {layout.line + 2} is a row of units."
    yield from (match.note for match in layout.matching.matches)
    yield from layout.matching.notes


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


def _footer_notes(body: Body) -> Iterator[str]:
    if body.footer_lines:
        yield (
            f"{_counted(body.footer_lines, 'line')} of text below the numbers skipped, from line "
            f"{body.footer_from} on."
        )


def _counted(number: int, thing: str) -> str:
    return f"1 {thing}" if number == 1 else f"{number} {thing}s"
