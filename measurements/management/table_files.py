"""Tables of adapters, ports and results that are sent by themselves, as a package of them."""

from __future__ import annotations

import io
from collections.abc import Iterable

from measurements.intake.workbook_scan import WorkbookError
from measurements.intake.workbooks import csv_bytes, open_workbook
from measurements.management.filled_sheets import Worksheets
from measurements.management.packages import Package, PackageError

TABLES = ("adapters.csv", "ports.csv", "results.csv")
WORKBOOK_SUFFIX = ".xlsx"

# A heading that only one of the tables has.
_TELLING = {"metric": "results.csv", "connector": "ports.csv", "maker": "adapters.csv"}


def tables_of(files: Iterable[tuple[str, bytes]]) -> Package:
    """A package of the files, by name and content; each is told by its headings.

    A workbook gives its worksheets ``adapters``, ``ports`` and ``results``. Raises
    `PackageError` for a file that is none of the tables, and for two of one kind.
    """
    store = Worksheets()
    for name, content in files:
        found = (
            _worksheets(name, content)
            if name.lower().endswith(WORKBOOK_SUFFIX)
            else {_table_of(name, content): content}
        )
        for table, bytes_of_it in found.items():
            if table in store.files:
                raise PackageError(f"“{name}”: there is more than one {table}. Send one of each.")
            store.files[table] = bytes_of_it
    return Package(store, {})


def _table_of(name: str, content: bytes) -> str:
    if not content.strip():
        raise PackageError(f"“{name}” is empty. Save the table again.")
    rows = Package(Worksheets(files={name.strip().casefold(): content}), {}).rows(name)
    headings = rows[0].cells if rows else {}
    for heading, table in _TELLING.items():
        if heading in headings:
            return table
    raise PackageError(
        f"“{name}” is no table of results (columns adapter, metric, value), adapters (maker, "
        "name, rated_power_w) or ports (adapter, label, connector), or it has no rows."
    )


def _worksheets(name: str, content: bytes) -> dict[str, bytes]:
    try:
        with open_workbook(io.BytesIO(content)) as book:
            found = {
                table: csv_bytes(book.rows(sheet))
                for table in TABLES
                if book.title_of(sheet := table.removesuffix(".csv")) is not None
            }
    except WorkbookError as error:
        raise PackageError(f"“{name}”: {error}") from error
    if not found:
        raise PackageError(
            f"“{name}” has no worksheet called results, adapters or ports. Name it so."
        )
    return found
