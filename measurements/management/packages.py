"""Packages of runs: ``runs.csv`` and the files that it names, wherever they are kept.

A package comes from outside: names that lead out of it are refused, and what
``datapackage.json`` states of a file is held against the file.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import json
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import IO, Protocol, TypeGuard

from measurements.intake.decoding import printable

CHUNK_BYTES = 1 << 20
LARGEST_TABLE_BYTES = 16 << 20
LONGEST_CELL = 32_768

_HASHES = ("md5", "sha1", "sha256", "sha512")


class PackageError(Exception):
    """The package, or one file of it, cannot be used; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a package's table: its line in the file, and its cells by column."""

    line: int
    cells: Mapping[str, str]
    decimal_comma: bool


@dataclass(frozen=True, slots=True)
class Stated:
    """What ``datapackage.json`` says of a file; `digest` is empty when it gives no hash."""

    size: int | None
    algorithm: str
    digest: str


class Store(Protocol):
    """Where the files of a package are."""

    def size(self, name: str) -> int | None:
        """Bytes of a file, None when there is no such file. Raises `PackageError`."""

    def open(self, name: str) -> AbstractContextManager[IO[bytes]]:
        """The file for reading. Raises `PackageError`."""


def safe_name(name: str) -> str:
    """`name` with its parts joined by single slashes. Raises `PackageError` if it leads out."""
    path = PurePosixPath(name)
    too_long = any(len(part.encode("utf-8", "replace")) > 255 for part in path.parts)
    outside = path.is_absolute() or ".." in path.parts or bool(set(name) & set("\\\0:"))
    if not name or too_long or outside or len(name) > 1000:
        raise PackageError(
            f"“{_shown(name)}” is not a name inside the package. Give it relative to "
            "runs.csv, with forward slashes and without “..”."
        )
    return str(path)


@dataclass(frozen=True, slots=True)
class Package:
    """The files of a package, and what it states about them.

    `table` is what lists its runs, and what messages call that. A package that came as a
    `workbook` has its name before those of its worksheets; `not_filled_in` counts the planned
    runs of it that hold no measured value and are left out of `table`.
    """

    store: Store
    stated: Mapping[str, Stated]
    table: str = "runs.csv"
    workbook: str = ""
    not_filled_in: int = 0

    def title_of(self, name: str) -> str:
        """The name under which a file is kept."""
        if self.workbook:
            return f"{self.workbook} – {name}.csv"
        return PurePosixPath(name).name

    def has(self, name: str) -> bool:
        """Whether there is such a file."""
        return self.store.size(name) is not None

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a file, in portions. Raises `PackageError`, also when they end too soon."""
        read = 0
        with self.store.open(name) as file:
            while chunk := file.read(CHUNK_BYTES):
                read += len(chunk)
                yield chunk
        if read != self.store.size(name):
            raise PackageError(
                f"“{_shown(name)}” cannot be unpacked (it has {read:,} bytes, and not as many as "
                "it should). Make the package again."
            )

    def require(self, name: str) -> None:
        """Raise `PackageError` unless the file is there, has bytes, and is as stated."""
        size = self.store.size(name)
        if size is None:
            inside = "workbook has no worksheet" if self.workbook else "package has no file"
            raise PackageError(f"The {inside} “{_shown(name)}”.")
        if not size:
            raise PackageError(f"“{_shown(name)}” is empty. Export the log again.")
        stated = self.stated.get(safe_name(name))
        if stated is None:
            return
        if stated.size is not None and stated.size != size:
            raise PackageError(
                f"“{_shown(name)}” has {size:,} bytes, datapackage.json states {stated.size:,}. "
                "Fetch the package again."
            )
        if stated.digest:
            found = hashlib.new(stated.algorithm, usedforsecurity=False)
            for chunk in self.chunks(name):
                found.update(chunk)
            if found.hexdigest() != stated.digest:
                raise PackageError(
                    f"“{_shown(name)}” differs from datapackage.json: its {stated.algorithm} is "
                    f"{found.hexdigest()}. Fetch the package again."
                )

    def rows(self, name: str) -> tuple[Row, ...]:
        """The rows of a table of the package. Raises `PackageError`."""
        self.require(name)
        size = self.store.size(name) or 0
        if size > LARGEST_TABLE_BYTES:
            raise PackageError(
                f"“{_shown(name)}” is larger than {LARGEST_TABLE_BYTES >> 20} MiB. Split it."
            )
        return _rows(b"".join(self.chunks(name)), name=name)


def with_statements(store: Store) -> Package:
    """The package with the sizes and hashes of its Data Package v2 descriptor, if it has one."""
    bare = Package(store, {})
    if not bare.has("datapackage.json"):
        return bare
    if (store.size("datapackage.json") or 0) > LARGEST_TABLE_BYTES:
        raise PackageError(f"datapackage.json is larger than {LARGEST_TABLE_BYTES >> 20} MiB.")
    try:
        content = json.loads(
            b"".join(bare.chunks("datapackage.json")), object_pairs_hook=_each_once
        )
        resources = content["resources"]
        stated = dict(_stated(resource) for resource in resources if _is_one_file(resource))
    except RecursionError as error:
        raise PackageError(
            "datapackage.json is nested too deeply. Mend it, or leave it out."
        ) from error
    except (KeyError, TypeError) as error:
        raise PackageError(
            "datapackage.json has no list of resources, as a Data Package has. Mend it, or leave "
            "it out."
        ) from error
    except ValueError as error:
        raise PackageError(
            f"datapackage.json cannot be read: {error}. Mend it, or leave it out."
        ) from error
    return Package(store, stated)


def _shown(name: str) -> str:
    """A name from outside, so that it can do nothing to a terminal."""
    return printable(name, limit=80)


def _each_once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """An object of JSON. Raises `ValueError` for a name that it has twice (RFC 8259, section 4)."""
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"an object has the name “{printable(twice)}” twice")
    return found


def _is_one_file(resource: object) -> TypeGuard[Mapping[str, object]]:
    return isinstance(resource, Mapping) and isinstance(resource.get("path"), str)


def _stated(resource: Mapping[str, object]) -> tuple[str, Stated]:
    name = str(resource["path"])
    size = resource.get("bytes")
    # Data Package v2: a hash without a prefix is MD5; others name their algorithm first.
    algorithm, _, digest = str(resource.get("hash", "")).lower().rpartition(":")
    algorithm = algorithm or "md5"
    if digest and algorithm not in _HASHES:
        raise ValueError(
            f"the hash of “{_shown(name)}” is {algorithm}, not one of {', '.join(_HASHES)}"
        )
    if size is not None and type(size) is not int:
        raise ValueError(f"the bytes of “{_shown(name)}” are no whole number")
    return safe_name(name), Stated(size=size, algorithm=algorithm, digest=digest)


def _text(content: bytes) -> str:
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return content.decode("utf-16")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252")  # what a spreadsheet saves as plain CSV


def _rows(content: bytes, *, name: str) -> tuple[Row, ...]:
    try:
        text = _text(content)
    except UnicodeDecodeError as error:
        raise PackageError(f"“{_shown(name)}” is not text. Save it as CSV in UTF-8.") from error
    if "\0" in text:
        raise PackageError(f"“{_shown(name)}” holds NUL characters. Save it as CSV in UTF-8.")
    head = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    csv.field_size_limit(LONGEST_CELL)
    rows: list[Row] = []
    try:
        headings = [cell.strip() for cell in next(reader)]
        twice = {heading for heading in headings if headings.count(heading) > 1}
        if twice:
            raise PackageError(
                f"“{_shown(name)}”, line 1: the column {min(twice)!r} stands there twice."
            )
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(headings):
                raise PackageError(
                    f"“{_shown(name)}”, line {reader.line_num}: {len(cells)} cells under "
                    f"{len(headings)} headings. Quote cells that hold the separator."
                )
            named = dict(zip(headings, (cell.strip() for cell in cells), strict=True))
            rows.append(Row(reader.line_num, named, decimal_comma=delimiter != ","))
    except (csv.Error, StopIteration) as error:
        raise PackageError(
            f"“{_shown(name)}”, line {reader.line_num}: not readable as CSV "
            f"({error or 'no headings'})."
        ) from error
    return tuple(rows)
