"""The worksheet of a workbook that holds a run, read as the CSV that its cells would make.

Numbers count as they are stored and not as they are rounded for show, but for one format: what
is shown as per cent is stored as a hundredth of it, and counts as shown in a column of per cent.
Rows are those of the worksheet, so that messages name what a person sees there.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from measurements.intake.column_maps import ColumnMap
from measurements.intake.columns import Column, Problem, Table
from measurements.intake.decoding import Refused, Text, printable
from measurements.intake.evidence import Evidence
from measurements.intake.layout import Layout, find_layout, likely_layout
from measurements.intake.matches import Match
from measurements.intake.problems import Draft, Problems
from measurements.intake.records import Lines, find_lines
from measurements.intake.text_tables import layout_notes, layout_seen, read_rows
from measurements.intake.workbook_scan import WorkbookError
from measurements.intake.workbooks import (
    Grid,
    Rows,
    Workbook,
    csv_bytes,
    merged_cells,
    open_workbook,
)

_COMMA = ","
_PACKAGE_SHEET = "runs"


@dataclass(frozen=True, slots=True)
class _Found:
    """A worksheet in which headings of the run were found."""

    name: str
    grid: Grid
    layout: Layout


def read_workbook(path: Path, columns: Sequence[Column], draft: Draft) -> Table | None:
    """The table of the one worksheet that holds a run, None with problems. Raises `Refused`."""
    scratch = Path(tempfile.mkdtemp(prefix="worksheet-"))
    try:
        with path.open("rb") as file, open_workbook(file) as book:
            found = _choose(book, columns, draft, scratch / "text")
            draft.notes.extend(_book_notes(book, found, draft.spoken))
            return _read(book, found, draft, scratch / "text")
    except WorkbookError as error:
        raise Refused(str(error)) from error
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _spoken(name: str) -> str:
    return f"“{printable(name)}”"


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(_spoken(name) for name in names[:8])
    return f"{shown} and {len(names) - 8} more" if len(names) > 8 else shown


def _choose(book: Workbook, columns: Sequence[Column], draft: Draft, text: Path) -> _Found:
    """The only worksheet whose headings are those of the run. Raises `Refused`."""
    draft.evidence = Evidence(format="workbook", sheets=tuple(book.names))
    found: list[_Found] = []
    likely: list[_Found] = []
    reasons: list[str] = []
    for name in book.names:
        try:
            grid = book.grid(name)
            if grid.rows:
                likely += _likely(name, grid, columns, text)
                layout = layout_of_rows(grid.rows, columns, draft.maps, text)
                found.append(_Found(name, grid, layout))
        except WorkbookError as error:
            reasons.append(str(error))
        except Refused as refusal:
            reasons.append(f"In the worksheet {_spoken(name)}: {refusal.problem.detail}")
    chosen, others = _best(found, draft.maps)
    seen = chosen or next(iter(others or found or likely), None)
    if seen is not None:
        _show(seen, draft, text)
    if chosen is not None:
        return chosen
    if others:
        names = _listed([item.name for item in others])
        raise Refused(
            f"{len(others)} worksheets have the headings of this kind of run: {names}. Keep one "
            f"of them in the workbook, or choose it on the page of the file.{_package_hint(book)}"
        )
    if not reasons:
        raise Refused("The workbook has no cells that hold anything. Send the log itself.")
    if len(book.names) == 1:
        raise Refused(reasons[0])
    raise Refused(
        f"None of the worksheets {_listed(book.names)} holds the headings of this kind of run. "
        f"{reasons[0]}{_package_hint(book)}"
    )


def _best(
    found: Sequence[_Found], maps: Sequence[ColumnMap]
) -> tuple[_Found | None, Sequence[_Found]]:
    """The worksheet to read, or those of which one must be chosen."""
    named = {item.sheet for item in maps if item.sheet}
    for item in found:
        applied = item.layout.matching.applied
        if applied is not None and applied.sheet == item.name:
            return item, ()
    by_name = [item for item in found if item.name in named and item.layout.complete]
    for fitting in (
        by_name,
        [item for item in found if item.layout.is_mapped and item.layout.complete],
        [item for item in found if item.layout.complete],
    ):
        if len(fitting) == 1:
            return fitting[0], ()
        if fitting:
            return None, fitting
    if found:
        return max(found, key=lambda item: item.layout.worth), ()
    return None, ()


def _likely(name: str, grid: Grid, columns: Sequence[Column], text: Path) -> list[_Found]:
    """What might be headings in a worksheet where none is known."""
    layout = likely_layout(_lines(grid.rows, text), columns, separators=(_COMMA,))
    return [_Found(name, grid, _with_comma(layout))] if layout else []


def _show(seen: _Found, draft: Draft, text: Path) -> None:
    """Keep what was seen in that worksheet as evidence."""
    assert draft.evidence is not None
    evidence = layout_seen(draft.evidence, _lines(seen.grid.rows, text), seen.layout)
    draft.evidence = replace(evidence, sheet=seen.name, separator="")


def _package_hint(book: Workbook) -> str:
    if book.title_of(_PACKAGE_SHEET) is None:
        return ""
    return (
        f" A workbook with a worksheet “{_PACKAGE_SHEET}” is a filled-in sheet of many runs: hand "
        "it in as one."
    )


def layout_of_rows(
    rows: Rows, columns: Sequence[Column], maps: Sequence[ColumnMap], text: Path
) -> Layout:
    """How a run's table lies in a worksheet; `text` is a file to write to. Raises `Refused`."""
    lines = _lines(rows, text)
    return _with_comma(find_layout(lines, columns, separators=(_COMMA,), maps=maps))


def _with_comma(layout: Layout) -> Layout:
    """Cells were separated here, so that a comma in one of them is never a decimal mark."""
    return replace(layout, delimiter=_COMMA)


def _book_notes(book: Workbook, found: _Found, spoken: str) -> list[str]:
    hidden = " (hidden)" if book.is_hidden(found.name) else ""
    notes = [
        f"{spoken} read as a workbook, worksheet {_spoken(found.name)}{hidden}. "
        "Rows are those of the worksheet."
    ]
    others = [name for name in book.names if name != found.name]
    if others:
        notes.append(f"Other worksheets left unread: {_listed(others)}.")
    facts = book.facts(found.name)
    if facts.hidden_rows:
        notes.append(f"Hidden rows are read like the others: {facts.hidden_rows}.")
    if facts.hidden_columns:
        notes.append("Hidden columns are read like the others.")
    return notes


def _read(book: Workbook, found: _Found, draft: Draft, text: Path) -> Table | None:
    """The table below the headings. Raises `Refused`, and `WorkbookError` for merged cells."""
    layout, facts = found.layout, book.facts(found.name)
    if facts.lowest_merge > layout.line:
        raise WorkbookError(merged_cells(found.name, facts.lowest_merged))
    draft.notes.extend(layout_notes(layout, row="row"))
    rows, cut = _table_rows(found.grid.rows, layout)
    if cut:
        draft.notes.append(f"Cells to the right of the headings left unread: {cut}.")
    for match in layout.matching.matches:
        draft.notes.extend(_settle_percents(rows, found.grid, layout, match))
    where = f"Worksheet {_spoken(found.name)}: " if len(book.names) > 1 else ""
    inner = Draft(
        draft.spoken,
        maps=draft.maps,
        told=draft.told,
        problems=Problems(draft.problems.kept),
        evidence=draft.evidence,
    )
    try:
        table = read_rows(_lines(rows, text), layout, inner)
    except Refused as refusal:
        problem = refusal.problem
        raise Refused(where + problem.detail, row=problem.row, column=problem.column) from refusal
    draft.notes.extend(inner.notes)
    draft.evidence = inner.evidence
    worded = inner.problems.first()
    for problem in worded:
        draft.problems.add(Problem(where + problem.detail, problem.row, problem.column))
    draft.problems.more(inner.problems.count - len(worded))
    return table


def _table_rows(rows: Rows, layout: Layout) -> tuple[Rows, int]:
    """The rows from the headings on, as wide as those, in their places; how many cells were cut."""
    width = len(layout.headings)
    below = rows[layout.line :]
    cut = sum(1 for row in below for cell in row[width:] if cell.strip())
    kept = [row[:width] if any(cell.strip() for cell in row[:width]) else [] for row in below]
    return [[] for _ in range(layout.line)] + kept, cut


def _settle_percents(rows: Rows, grid: Grid, layout: Layout, match: Match) -> list[str]:
    """Let cells that are shown as per cent count as shown, in a column of per cent."""
    places = [
        (number, value)
        for (number, place), value in grid.percents.items()
        if place == match.index and number >= layout.first
    ]
    if not places:
        return []
    if match.unit != "%":
        return [
            f"Cells of {match.heading.spoken} are shown as per cent; they count as stored, 98 % as "
            "0.98."
        ]
    for number, value in places:
        # Decimal, because 0.07 · 100 is not 7 in binary floats.
        rows[number][match.index] = repr(float(Decimal(repr(value)) * 100))
    return [f"Cells of {match.heading.spoken} are shown as per cent, and count as shown."]


def _lines(rows: Rows, text: Path) -> Lines:
    """The rows as lines of CSV, in a file of its own: the one before may still be mapped."""
    text.unlink(missing_ok=True)
    text.write_bytes(csv_bytes(rows))
    return find_lines(Text(text, "UTF-8", 0))
