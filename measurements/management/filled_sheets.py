"""A filled-in workbook as a package: every worksheet becomes the CSV file of its run."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import IO

from measurements.intake.workbook_scan import WorkbookError
from measurements.intake.workbooks import Workbook, csv_bytes, filled_rows
from measurements.management.packages import Package, PackageError

RUNS = "runs"
# Columns of the worksheet of runs that speak to the bench, not to the upload.
PLANNED, FILL_IN = "planned", "fill_in"
SEPARATOR = ";"


@dataclass(slots=True)
class Worksheets:
    """The worksheets of a workbook as files, or why one of them cannot be a file."""

    files: dict[str, bytes] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)

    def size(self, name: str) -> int | None:
        """Bytes of a file, None when there is no such file. Raises `PackageError`."""
        key = _key(name)
        if key in self.faults:
            raise PackageError(self.faults[key])
        return len(self.files[key]) if key in self.files else None

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        """The file for reading. Raises `PackageError`."""
        yield io.BytesIO(self.files[_key(name)])


def _key(name: str) -> str:
    return name.strip().casefold()


def package_of(book: Workbook, *, name: str) -> Package:
    """The runs of a workbook that hold measured values. Raises `PackageError`.

    A run whose worksheet was left as it was planned keeps its line in the table, empty, so
    that messages about the others name the rows that the workbook shows.
    """
    if book.title_of(RUNS) is None:
        raise PackageError(
            f"The workbook has no worksheet “{RUNS}”, but {_listed(book.names)}. Write one row a "
            "run there, with the columns adapter, kind and file; file names the worksheet that "
            "holds the data."
        )
    try:
        rows = book.rows(RUNS)
    except WorkbookError as error:
        raise PackageError(str(error)) from error
    headings = [cell.strip() for cell in rows[0]] if rows else []
    store = Worksheets()
    not_filled_in = 0
    for place, row in enumerate(rows[1:], start=1):
        cells = dict(zip(headings, row, strict=False))
        file = cells.get("file", "")
        if not file.strip() or book.title_of(file) is None:
            continue
        awaited = [item for item in cells.get(FILL_IN, "").split(SEPARATOR) if item.strip()]
        if not _add(store, book, file, awaited=awaited):
            rows[place] = []
            not_filled_in += 1
    kept = [at for at, heading in enumerate(headings) if heading not in (PLANNED, FILL_IN)]
    store.files[RUNS] = csv_bytes([_chosen(row, kept) for row in rows])
    return Package(store, {}, table=RUNS, workbook=name, not_filled_in=not_filled_in)


def _add(store: Worksheets, book: Workbook, file: str, *, awaited: Sequence[str]) -> bool:
    """Make the worksheet a file; False when the bench wrote nothing into it."""
    try:
        rows = filled_rows(book.rows(file), awaited=awaited)
    except WorkbookError as error:
        store.faults[_key(file)] = str(error)
        return True
    if rows:
        store.files[_key(file)] = csv_bytes(rows)
    return bool(rows)


def _chosen(row: Sequence[str], places: Sequence[int]) -> list[str]:
    """The cells at `places`; an empty row stays empty, remarks beside the table stay behind."""
    if not any(cell.strip() for cell in row):
        return []
    return [row[place] if place < len(row) else "" for place in places]


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(f"“{name}”" for name in names[:8])
    return f"{shown} and {len(names) - 8} more" if len(names) > 8 else shown or "none at all"
