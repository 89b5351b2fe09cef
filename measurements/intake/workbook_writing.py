"""Writing a workbook to fill in: typed cells, headings that stay in sight, text that stays text."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

Cell = str | float | None

LONGEST_NAME = 31
_TAIL = 13
TEXT_FORMAT = "@"  # ECMA-376 part 1, 18.8.30, number format 49: text, whatever it looks like
_WIDEST = 48
_FORBIDDEN = re.compile(r"[\[\]:*?/\\\x00-\x1f\x7f]+")
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A worksheet: headings, the rows below them, and which columns hold text.

    `pinned` columns on the left stay in sight beside the headings.
    """

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    texts: frozenset[str] = frozenset()
    pinned: int = 0


@dataclass(frozen=True, slots=True)
class Page:
    """A worksheet to read: paragraphs, those in `bold` as headings."""

    name: str
    paragraphs: tuple[str, ...]
    bold: frozenset[str] = frozenset()


def sheet_names(titles: Sequence[str]) -> tuple[str, ...]:
    """Names for worksheets, one a title: numbered, and so unique, within what a workbook allows."""
    return tuple(_name(f"{number} {title}") for number, title in enumerate(titles, start=1))


def _name(text: str) -> str:
    name = " ".join(_FORBIDDEN.sub(" ", _UNWRITABLE.sub("", text)).split())
    if _units(name) > LONGEST_NAME:
        # The end of a title often tells it from its neighbour: the mains, the port.
        head, tail = name, name[-_TAIL:]
        tail = tail.partition(" ")[2] or tail
        while _units(f"{head}…{tail}") > LONGEST_NAME:
            shorter = head.rpartition(" ")[0]
            head = shorter if len(head) - len(shorter) <= _TAIL and " " in shorter else head[:-1]
        name = f"{head.rstrip(' ,')}…{tail}"
    return name.rstrip(" '")


def _units(text: str) -> int:
    """Units of UTF-16, in which programs count; a rare sign takes two."""
    return len(text.encode("utf-16-le")) // 2


def workbook_bytes(sheets: Iterable[Sheet | Page], *, active: str) -> bytes:
    """The workbook as a file; `active` is the worksheet that it opens at."""
    import openpyxl  # noqa: PLC0415, the site starts sooner without it

    book = openpyxl.Workbook()
    first = book.active
    assert first is not None
    book.remove(first)
    for sheet in sheets:
        written = book.create_sheet(sheet.name)
        if isinstance(sheet, Page):
            _write_page(written, sheet)
        else:
            _write_sheet(written, sheet)
    book.active = book.sheetnames.index(active)
    for written in book.worksheets:
        # A new worksheet counts itself as chosen; with two chosen, typing writes into both.
        written.sheet_view.tabSelected = written.title == active
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def _put(sheet: Worksheet, row: int, column: int, value: Cell, *, as_text: bool = False) -> None:
    cell = sheet.cell(row, column)
    if as_text:
        cell.number_format = TEXT_FORMAT
    if isinstance(value, str):
        cell.value = _UNWRITABLE.sub("", value)
        # Text that begins like a formula or an error is text here.
        cell.data_type = "s"
    elif value is not None:
        cell.value = int(value) if float(value).is_integer() else value


def _write_page(sheet: Worksheet, page: Page) -> None:
    from openpyxl.styles import Alignment, Font  # noqa: PLC0415, as above

    sheet.column_dimensions["A"].width = 100
    for row, paragraph in enumerate(page.paragraphs, start=1):
        _put(sheet, row, 1, paragraph)
        written = sheet.cell(row, 1)
        written.alignment = Alignment(wrap_text=True, vertical="top")
        if paragraph in page.bold:
            written.font = Font(bold=True)


def _write_sheet(sheet: Worksheet, content: Sheet) -> None:
    from openpyxl.styles import Font  # noqa: PLC0415, as above
    from openpyxl.utils import get_column_letter  # noqa: PLC0415, as above

    for column, heading in enumerate(content.headings, start=1):
        is_text = heading in content.texts
        width = max(len(heading), *(len(_shown(row[column - 1])) for row in content.rows), 8)
        dimension = sheet.column_dimensions[get_column_letter(column)]
        dimension.width = min(width + 2, _WIDEST)
        if is_text:
            # Also for the cells that are still to be written.
            dimension.number_format = TEXT_FORMAT
        _put(sheet, 1, column, heading)
        sheet.cell(1, column).font = Font(bold=True)
        for number, row in enumerate(content.rows, start=2):
            _put(sheet, number, column, row[column - 1], as_text=is_text)
    sheet.freeze_panes = f"{get_column_letter(content.pinned + 1)}2"


def _shown(value: Cell) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
