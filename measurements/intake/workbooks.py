"""A filled-in workbook as plain tables: its worksheets as rows of text, and as CSV.

What a run keeps for ever is the CSV, so the same cells must always give the same bytes: UTF-8,
commas, ``\\n``, numbers as short as they read back exactly, dates in ISO 8601.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import IO, Any

from measurements.intake.workbook_scan import SheetFacts, WorkbookError, scan
from measurements.intake.zips import ZipFault, open_zip

Rows = list[list[str]]

MOST_UNPACKED_BYTES = 256 << 20
LARGEST_DIRECTORY = 1 << 20
_OLD_OR_ENCRYPTED = bytes.fromhex("D0CF11E0A1B11AE1")  # MS-CFB 2.2, the header signature
_LARGEST_WHOLE = 2.0**53
# Quoted or escaped signs, padding, and conditions or colours: none of them is the format itself.
_LITERAL = re.compile(r'"[^"]*"|[\\_*].|\[[^\]]*\]')


@dataclass(frozen=True, slots=True)
class Grid:
    """A worksheet: its rows as text, and the numbers that it shows as per cent.

    Those are by row and column, both counted from 0, as stored: 0.25 where 25 % is shown.
    """

    rows: Rows
    percents: dict[tuple[int, int], float]


class Workbook:
    """The worksheets of a workbook by name, whatever the capitals. Made by `open_workbook`."""

    def __init__(self, book: Any, facts: dict[str, SheetFacts]) -> None:
        self._facts = facts
        self._sheets: dict[str, Any] = {}
        for sheet in book.worksheets:
            key = _key(sheet.title)
            if key in self._sheets:
                raise WorkbookError(
                    f"Two worksheets are called “{sheet.title}” but for capitals. Rename one."
                )
            self._sheets[key] = sheet

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the worksheets, in their order."""
        return tuple(sheet.title for sheet in self._sheets.values())

    def title_of(self, name: str) -> str | None:
        """The name as the workbook writes it, None when there is no such worksheet."""
        sheet = self._sheets.get(_key(name))
        return None if sheet is None else str(sheet.title)

    def rows(self, name: str) -> Rows:
        """The rows of a worksheet as text, from its first row on, each as long as the last
        cell that holds something. Raises `WorkbookError`, and `KeyError` for no worksheet.
        """
        if merged := self.facts(name).merged:
            raise WorkbookError(merged_cells(self._sheets[_key(name)].title, merged))
        return self.grid(name).rows

    def grid(self, name: str) -> Grid:
        """The rows as `rows` gives them, merged cells or not. Raises the same."""
        sheet, facts = self._sheets[_key(name)], self.facts(name)
        if facts.uncomputed:
            raise WorkbookError(
                f"The worksheet “{sheet.title}” has a formula in {facts.uncomputed} that was "
                "never computed. Open and save the workbook in a spreadsheet program, or put "
                "the number in its place."
            )
        # What the file states of its extent is not to be relied on.
        sheet.reset_dimensions()
        rows: Rows = []
        percents: dict[tuple[int, int], float] = {}
        for number, (texts, shown) in enumerate(_read(sheet)):
            rows.append(_shorn(texts))
            percents |= {(number, place): value for place, value in shown.items()}
        while rows and not rows[-1]:
            rows.pop()
        return Grid(rows, percents)

    def facts(self, name: str) -> SheetFacts:
        """What the scan noted of a worksheet. Raises `KeyError` for no worksheet."""
        # Which part of the zip a worksheet is: the library keeps it, but not in public.
        path: str = self._sheets[_key(name)]._worksheet_path
        return self._facts.get(path.lstrip("/"), SheetFacts())

    def is_hidden(self, name: str) -> bool:
        """Whether a spreadsheet program keeps the worksheet out of sight."""
        return bool(self._sheets[_key(name)].sheet_state != "visible")


def _key(name: str) -> str:
    return name.strip().casefold()


def merged_cells(title: str, reference: str) -> str:
    """Why merged cells are refused."""
    return (
        f"The worksheet “{title}” has merged cells at {reference}, of which "
        "only the first would count. Split them."
    )


@lru_cache(maxsize=512)
def shows_percent(number_format: str) -> bool:
    """Whether a number format (ECMA-376 part 1, 18.8.31) shows a number as per cent."""
    return "%" in _LITERAL.sub("", number_format)


@contextmanager
def open_workbook(file: IO[bytes], *, most_bytes: int = MOST_UNPACKED_BYTES) -> Iterator[Workbook]:
    """The workbook in `file`, scanned before it is built.

    `most_bytes` [byte] is how much it may unpack to. Raises `WorkbookError`.
    """
    import openpyxl  # noqa: PLC0415, the site starts sooner without it

    try:
        archive = open_zip(file, largest_directory=LARGEST_DIRECTORY)
    except ZipFault as error:
        raise WorkbookError(_not_a_workbook(file, fault=str(error))) from error
    with archive:
        facts = dict(scan(archive, most_bytes=most_bytes))
    try:
        book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
    except MemoryError:
        raise
    except Exception as error:  # whatever a library stumbles over in a file from outside
        raise WorkbookError(
            f"This is not a workbook that can be read ({type(error).__name__}: {error}). "
            "Save it again as XLSX."
        ) from error
    try:
        yield Workbook(book, facts)
    finally:
        book.close()


def _not_a_workbook(file: IO[bytes], *, fault: str) -> str:
    file.seek(0)
    if file.read(len(_OLD_OR_ENCRYPTED)) == _OLD_OR_ENCRYPTED:
        return (
            "The workbook is encrypted, or in the old XLS form. Save it as XLSX without a password."
        )
    return f"This is not a workbook, which is a zip. {fault} Or save it as XLSX."


def _read(sheet: Any) -> Iterator[tuple[list[str], dict[int, float]]]:
    """The cells of every row as text, and which of them are shown as per cent."""
    try:
        for row in sheet.iter_rows():
            percents = {
                place: cell.value
                for place, cell in enumerate(row)
                if type(cell.value) in (int, float) and shows_percent(cell.number_format)
            }
            yield [_text(cell.value) for cell in row], percents
    except MemoryError:
        raise
    except Exception as error:  # whatever a library stumbles over in a file from outside
        raise WorkbookError(
            f"The worksheet “{sheet.title}” cannot be read ({type(error).__name__}: {error}). "
            "Save the workbook again, or copy its cells into a new one."
        ) from error


def _shorn(cells: list[str]) -> list[str]:
    while cells and not cells[-1].strip():
        cells.pop()
    return cells


def _text(value: object) -> str:
    """A cell as text: what a person would type to get it again."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        whole = value.is_integer() and abs(value) < _LARGEST_WHOLE
        return str(int(value)) if whole else repr(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return _clock(value)
    # A line of the table is a line of the file, so that messages find their row.
    return "" if value is None else " ".join(str(value).splitlines())


def _clock(span: timedelta) -> str:
    seconds = span.total_seconds()
    sign, seconds = ("-", -seconds) if seconds < 0 else ("", seconds)
    minutes, rest = divmod(seconds, 60)
    return f"{sign}{int(minutes) // 60}:{int(minutes) % 60:02}:{rest:09.6f}"


def csv_bytes(rows: Rows) -> bytes:
    """The rows as CSV, every line as wide as the widest; a row without cells is an empty line."""
    width = max((len(row) for row in rows), default=0)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for row in rows:
        if row:
            writer.writerow(row + [""] * (width - len(row)))
        else:
            text.write("\n")
    return text.getvalue().encode("utf-8", "replace")


def filled_rows(rows: Rows, *, awaited: Collection[str]) -> Rows:
    """The rows as the bench filled them in; [] when it wrote nothing.

    `awaited` are the headings under which the bench writes. A row below them without any cell
    there was not measured and is emptied in its place; such a column without any cell is left
    out. Without `awaited`, or where no such heading is found, every row below the first counts
    as measured.
    """
    wanted = {name.strip().casefold() for name in awaited}
    head, places = _headings(rows, wanted)
    if not places:
        return rows if sum(1 for row in rows if row) > 1 else []
    below = [row if any(_has(row, place) for place in places) else [] for row in rows[head + 1 :]]
    unused = {place for place in places if not any(_has(row, place) for row in below)}
    if unused == set(places):
        return []
    kept = [*rows[:head], *(_without(row, unused) for row in (rows[head], *below))]
    while not kept[-1]:
        kept.pop()
    return kept


def _headings(rows: Rows, wanted: Collection[str]) -> tuple[int, list[int]]:
    """The first row with one of the headings, and where in it they stand."""
    for number, row in enumerate(rows):
        places = [place for place, cell in enumerate(row) if cell.strip().casefold() in wanted]
        if places:
            return number, places
    return len(rows), []


def _has(row: Sequence[str], place: int) -> bool:
    return place < len(row) and bool(row[place].strip())


def _without(row: Sequence[str], places: Collection[int]) -> list[str]:
    return [cell for place, cell in enumerate(row) if place not in places]
