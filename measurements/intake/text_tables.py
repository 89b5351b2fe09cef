"""A table from text, such as CSV, or a worksheet written as CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from measurements.intake.body import Body, check_widths, find_body
from measurements.intake.columns import Column, Problem, Table
from measurements.intake.decoding import Refused, printable, utf8_text
from measurements.intake.evidence import Evidence
from measurements.intake.heading_lines import split_line
from measurements.intake.layout import (
    SEPARATORS,
    Layout,
    find_layout,
    likely_layout,
)
from measurements.intake.problems import Draft, Problems
from measurements.intake.records import Lines, find_lines
from measurements.intake.seeing import headings_seen
from measurements.intake.values import read_values


def read_text(path: Path, columns: Sequence[Column], draft: Draft) -> Table | None:
    """The table of a CSV or TSV file, None with problems. Raises `Refused`."""
    with utf8_text(path) as text:
        draft.notes.append(f"{draft.spoken} read as {text.encoding} text.")
        lines = find_lines(text)
        draft.evidence = Evidence(format="text", encoding=text.encoding)
        try:
            layout = find_layout(lines, columns, maps=draft.maps)
        except Refused:
            if likely := likely_layout(lines, columns):
                draft.evidence = layout_seen(draft.evidence, lines, likely)
            raise
        draft.evidence = layout_seen(draft.evidence, lines, layout)
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
    values = read_values(body, draft)
    draft.notes.extend(values.notes)
    if draft.evidence is not None:
        draft.evidence = replace(
            draft.evidence, decimal=values.decimal, decimal_open=values.is_open
        )
    return values.table


def layout_seen(evidence: Evidence, lines: Lines, layout: Layout) -> Evidence:
    """The evidence with the headings that were found, and the line that they stand in."""
    examples = []
    if layout.first < len(lines):
        below = lines.read(layout.first, layout.first + 1)
        examples = split_line(below, layout.delimiter)
    applied = layout.matching.applied
    return replace(
        evidence,
        headings=headings_seen(layout.headings, layout.matching, examples),
        separator=SEPARATORS[layout.delimiter] if len(layout.headings) > 1 else "",
        row=layout.line + 1,
        line=printable(lines.read(layout.line, layout.line + 1).rstrip("\r\n"), limit=400),
        unit_row=layout.line + 2 if layout.has_unit_row else None,
        map_name=applied.name if applied else "",
    )


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
