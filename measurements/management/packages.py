"""Packages of runs: a folder or a zip with ``runs.csv`` and the files that it names.

A package comes from outside. Names that lead out of it, links, encrypted or overblown members
are refused before anything of it is read; files are only ever streamed.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import json
import stat
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Protocol

CHUNK_BYTES = 1 << 20
MOST_MEMBERS = 10_000
MOST_UNPACKED_BYTES = 4 << 30
# A steady log written with fixed decimals packs about a hundredfold; deflate itself ends near 1030.
MOST_PACKED_RATIO = 500
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
            f"“{name}” is not a name inside the package. Give it relative to runs.csv, "
            "with forward slashes and without “..”."
        )
    return str(path)


class Folder:
    """A package as a folder."""

    def __init__(self, root: Path) -> None:
        self._root = root.resolve()

    def _path(self, name: str) -> Path:
        path = self._root / safe_name(name)
        if path.exists() and path.resolve() != path:
            raise PackageError(f"“{name}” is a link. Put the file itself into the package.")
        return path

    def size(self, name: str) -> int | None:
        """Bytes of a file, None when there is no such file. Raises `PackageError`."""
        path = self._path(name)
        return path.stat().st_size if path.is_file() else None

    def open(self, name: str) -> IO[bytes]:
        """The file for reading. Raises `PackageError`."""
        try:
            return self._path(name).open("rb")
        except OSError as error:
            raise PackageError(f"“{name}” cannot be read: {error.strerror}.") from error


class Archive:
    """A package as a zip; its directory is checked as a whole before anything is read."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        members = [item for item in archive.infolist() if not item.is_dir()]
        _refuse_overblown(members)
        names: dict[str, zipfile.ZipInfo] = {}
        for member in members:
            name = safe_name(member.filename)
            if name in names:
                raise PackageError(f"The zip holds “{name}” twice. Leave one of the two out.")
            names[name] = member
        self._members = _without_outer_folder(names)

    def size(self, name: str) -> int | None:
        """Bytes of a file, None when there is no such file. Raises `PackageError`."""
        member = self._members.get(safe_name(name))
        return member.file_size if member else None

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        """The file for reading. Raises `PackageError`, also while it is read."""
        try:
            with self._archive.open(self._members[safe_name(name)]) as file:
                yield file
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError) as error:
            raise PackageError(
                f"“{name}” cannot be unpacked ({error}). Make the zip again, with deflate."
            ) from error


def _refuse_overblown(members: Sequence[zipfile.ZipInfo]) -> None:
    if len(members) > MOST_MEMBERS:
        raise PackageError(
            f"The zip holds {len(members):,} files; {MOST_MEMBERS:,} are taken at once. Split it."
        )
    if sum(member.file_size for member in members) > MOST_UNPACKED_BYTES:
        raise PackageError(
            f"The zip unpacks to more than {MOST_UNPACKED_BYTES >> 30} GiB. Split it."
        )
    for member in members:
        if member.flag_bits & 0x1:
            raise PackageError(f"“{member.filename}” is encrypted. Make the zip without password.")
        if stat.S_ISLNK(member.external_attr >> 16):
            raise PackageError(f"“{member.filename}” is a link. Put the file itself into the zip.")
        if member.file_size > MOST_PACKED_RATIO * max(member.compress_size, 1024):
            raise PackageError(
                f"“{member.filename}” unpacks to over {MOST_PACKED_RATIO} times its packed size, "
                "which no log does. Send that file by itself."
            )


def _without_outer_folder(names: dict[str, zipfile.ZipInfo]) -> dict[str, zipfile.ZipInfo]:
    """The members as seen from ``runs.csv``: packing a folder puts its name before all."""
    if "runs.csv" in names:
        return names
    outer = {name.split("/", 1)[0] for name in names if name.endswith("/runs.csv")}
    if len(outer) != 1:
        return names
    prefix = f"{outer.pop()}/"
    return {
        name.removeprefix(prefix): member
        for name, member in names.items()
        if name.startswith(prefix)
    }


@dataclass(frozen=True, slots=True)
class Package:
    """The files of a package, and what it states about them."""

    store: Store
    stated: Mapping[str, Stated]

    def has(self, name: str) -> bool:
        """Whether there is such a file."""
        return self.store.size(name) is not None

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a file, in portions."""
        with self.store.open(name) as file:
            while chunk := file.read(CHUNK_BYTES):
                yield chunk

    def require(self, name: str) -> None:
        """Raise `PackageError` unless the file is there, has bytes, and is as stated."""
        size = self.store.size(name)
        if size is None:
            raise PackageError(f"The package has no file “{name}”.")
        if not size:
            raise PackageError(f"“{name}” is empty. Export the log again.")
        stated = self.stated.get(safe_name(name))
        if stated is None:
            return
        if stated.size is not None and stated.size != size:
            raise PackageError(
                f"“{name}” has {size:,} bytes, datapackage.json states {stated.size:,}. "
                "Fetch the package again."
            )
        if stated.digest:
            found = hashlib.new(stated.algorithm, usedforsecurity=False)
            for chunk in self.chunks(name):
                found.update(chunk)
            if found.hexdigest() != stated.digest:
                raise PackageError(
                    f"“{name}” differs from datapackage.json: its {stated.algorithm} is "
                    f"{found.hexdigest()}. Fetch the package again."
                )

    def rows(self, name: str) -> tuple[Row, ...]:
        """The rows of a table of the package. Raises `PackageError`."""
        self.require(name)
        size = self.store.size(name) or 0
        if size > LARGEST_TABLE_BYTES:
            raise PackageError(
                f"“{name}” is larger than {LARGEST_TABLE_BYTES >> 20} MiB. Split it."
            )
        return _rows(b"".join(self.chunks(name)), name=name)


@contextmanager
def open_package(path: Path) -> Iterator[Package]:
    """The package at `path`, a folder or a zip. Raises `PackageError`."""
    if path.is_dir():
        yield _with_statements(Folder(path))
        return
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, OSError) as error:
        raise PackageError(f"{path} cannot be opened as a zip: {error}.") from error
    with archive:
        yield _with_statements(Archive(archive))


def lone_file(path: Path) -> Package:
    """A package of the one file `path`, by its own name, without statements."""
    return Package(Folder(path.parent), {})


def _with_statements(store: Store) -> Package:
    """The package with the sizes and hashes of its Data Package v2 descriptor, if it has one."""
    bare = Package(store, {})
    if not bare.has("datapackage.json"):
        return bare
    if (store.size("datapackage.json") or 0) > LARGEST_TABLE_BYTES:
        raise PackageError(f"datapackage.json is larger than {LARGEST_TABLE_BYTES >> 20} MiB.")
    try:
        content = json.loads(b"".join(bare.chunks("datapackage.json")))
        resources = content["resources"]
        stated = dict(_stated(resource) for resource in resources if _is_one_file(resource))
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise PackageError(
            "datapackage.json cannot be read as a Data Package: "
            f"{type(error).__name__} {error}. Mend it, or leave it out."
        ) from error
    return Package(store, stated)


def _is_one_file(resource: Mapping[str, object]) -> bool:
    return isinstance(resource.get("path"), str)


def _stated(resource: Mapping[str, object]) -> tuple[str, Stated]:
    name = str(resource["path"])
    size = resource.get("bytes")
    # Data Package v2: a hash without a prefix is MD5; others name their algorithm first.
    algorithm, _, digest = str(resource.get("hash", "")).lower().rpartition(":")
    algorithm = algorithm or "md5"
    if digest and algorithm not in _HASHES:
        raise ValueError(f"the hash of “{name}” is {algorithm}, not one of {', '.join(_HASHES)}")
    return safe_name(name), Stated(
        size=size if isinstance(size, int) else None, algorithm=algorithm, digest=digest
    )


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
        raise PackageError(f"“{name}” is not text. Save it as CSV in UTF-8.") from error
    if "\0" in text:
        raise PackageError(f"“{name}” holds NUL characters. Save it as CSV in UTF-8.")
    head = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    csv.field_size_limit(LONGEST_CELL)
    rows: list[Row] = []
    try:
        headings = [cell.strip() for cell in next(reader)]
        twice = {heading for heading in headings if headings.count(heading) > 1}
        if twice:
            raise PackageError(f"“{name}”, line 1: the column {min(twice)!r} stands there twice.")
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(headings):
                raise PackageError(
                    f"“{name}”, line {reader.line_num}: {len(cells)} cells under "
                    f"{len(headings)} headings. Quote cells that hold the separator."
                )
            named = dict(zip(headings, (cell.strip() for cell in cells), strict=True))
            rows.append(Row(reader.line_num, named, decimal_comma=delimiter != ","))
    except (csv.Error, StopIteration) as error:
        raise PackageError(
            f"“{name}”, line {reader.line_num}: not readable as CSV ({error or 'no headings'})."
        ) from error
    return tuple(rows)
