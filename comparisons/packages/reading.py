"""Opening an exported package: every byte is held against what it states before it is used."""

from __future__ import annotations

import csv
import io
import json
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from comparisons.packages.columns import value_of
from comparisons.packages.declared import TABLES
from comparisons.packages.descriptor import DESCRIPTOR, PROFILE_VERSION, STANDARD
from comparisons.packages.tables import Row, Table
from measurements.intake.decoding import printable
from measurements.intake.zips import ZipFault, open_zip
from measurements.management.packages import Package, PackageError, with_statements
from measurements.management.stores import Archive, Limits

# A site's whole data set, made by whoever runs that site.
OF_A_SITE = Limits(members=65_535, unpacked_bytes=32 << 30, rows=0)
MOST_PROBLEMS = 50


class Unfit(Exception):
    """The package cannot be taken in; `problems` are sentences with table, row and column."""

    def __init__(self, *problems: str) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems


@dataclass(slots=True)
class Opened:
    """A package whose descriptor was read; `files` is hash → path of everything that is no table.

    `created` and `content_hash` are what it states of itself.
    """

    package: Package
    tables: Mapping[str, Table]
    files: Mapping[str, str]
    paths: tuple[str, ...]
    created: str = ""
    content_hash: str = ""
    counts: dict[str, int] = field(default_factory=dict)

    def rows(self, table: str) -> Iterator[Row]:
        """The rows of a table as values by column. Raises `Unfit` at the first fault."""
        declared = self.tables[table]
        for line, cells in self.lines(declared):
            row, faults = read_row(declared, cells, line=line)
            if faults:
                raise Unfit(*faults)
            yield row

    def lines(self, table: Table) -> Iterator[tuple[int, list[str]]]:
        """Row number, from 1 below the headings, and cells. Raises `Unfit`."""
        with self.package.store.open(table.path) as file:
            text = io.TextIOWrapper(file, encoding="utf-8", newline="")
            csv.field_size_limit(sys.maxsize)  # a trace is one cell
            reader = csv.reader(text, strict=True)
            try:
                headings = next(reader, [])
                if tuple(headings) != table.headings:
                    raise Unfit(_other_headings(table, headings))
                yield from enumerate(reader, start=1)
            except (csv.Error, UnicodeDecodeError) as error:
                raise Unfit(
                    f"{table.path}, row {reader.line_num}: not readable: {error}."
                ) from error
            finally:
                text.detach()


def _other_headings(table: Table, found: list[str]) -> str:
    unknown = [printable(name) for name in found if name not in table.headings]
    lacking = [name for name in table.headings if name not in found]
    said = f"unknown columns: {', '.join(unknown)}" if unknown else ""
    said = said or (f"missing columns: {', '.join(lacking)}" if lacking else "another order")
    return f"{table.path}: {said}. The columns are {', '.join(table.headings)}."


def read_row(table: Table, cells: list[str], *, line: int) -> tuple[Row, list[str]]:
    """The values of a row, and what is wrong with it as sentences."""
    if len(cells) != len(table.columns):
        return {}, [f"{table.path}, row {line}: {len(cells)} cells, not {len(table.columns)}."]
    row: Row = {}
    faults = []
    for column, cell in zip(table.columns, cells, strict=True):
        try:
            row[column.name] = value_of(column, cell)
        except ValueError as error:
            detail = printable(str(error), limit=200)
            faults.append(f"{table.path}, row {line}, {column.name}: {detail}")
    return row, faults


@contextmanager
def opened(path: Path) -> Iterator[Opened]:
    """The package at `path`, its descriptor understood. Raises `Unfit` and `OSError`."""
    if not path.is_file():
        raise Unfit(f"There is no file {path}. Give the zip that export_package wrote.")
    with path.open("rb") as file:
        try:
            with open_zip(file, largest_directory=OF_A_SITE.directory_bytes) as archive:
                package = with_statements(Archive(archive, OF_A_SITE))
                yield _understood(package, archive.namelist())
        except (ZipFault, PackageError) as error:
            raise Unfit(str(error)) from error


def _understood(package: Package, names: list[str]) -> Opened:
    if not package.has(DESCRIPTOR):
        raise Unfit(
            f"The zip has no {DESCRIPTOR}, so it is no exported package. Runs alone come in by "
            "the intake command."
        )
    content = json.loads(b"".join(package.chunks(DESCRIPTOR)))
    own = content.get("brickledger")
    if content.get("$schema") != STANDARD or not isinstance(own, dict):
        raise Unfit(
            f"{DESCRIPTOR} is of another kind of package, or of one made by hand. Runs of such a "
            "package come in by the intake command."
        )
    if own.get("profileVersion") != PROFILE_VERSION:
        said = printable(str(own.get("profileVersion")))
        raise Unfit(
            f"The package is of version {said} of its profile; this site reads {PROFILE_VERSION}. "
            "Bring both sites to the same release."
        )
    tables, files = _sorted_out(content["resources"], package, names)
    return Opened(
        package,
        tables,
        files,
        paths=tuple(package.stated),
        created=str(content.get("created", "")),
        content_hash=str(own.get("contentHash", "")),
    )


def _sorted_out(
    resources: Any, package: Package, names: list[str]
) -> tuple[dict[str, Table], dict[str, str]]:
    """The tables by name, and the other files by hash."""
    known = {table.path: table for table in TABLES}
    tables: dict[str, Table] = {}
    files: dict[str, str] = {}
    problems = []
    for resource in resources:
        path = str(resource.get("path", "")) if isinstance(resource, dict) else ""
        stated = package.stated.get(path)
        if stated is None or stated.size is None or stated.algorithm != "sha256":
            problems.append(f"{DESCRIPTOR}: a resource without path, bytes or sha256 hash.")
        elif path in known:
            tables[known[path].name] = known[path]
        elif resource.get("type") == "table":
            problems.append(f"{printable(path)}: there is no such table in this release.")
        else:
            files[stated.digest] = path
    needed = (table for table in TABLES if not table.of_raw_files)
    problems += [f"{table.path} is missing." for table in needed if table.name not in tables]
    unstated = sorted(set(names) - set(package.stated) - {DESCRIPTOR})
    problems += [f"{printable(name)}: {DESCRIPTOR} does not state this file." for name in unstated]
    if problems:
        raise Unfit(*problems[:MOST_PROBLEMS])
    return tables, files
