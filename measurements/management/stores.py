"""Where the files of a package are: in a folder, or in a zip.

Links, encrypted or overblown members are refused before anything of a zip is read; files are
only ever streamed, never unpacked to names. An accent may be one sign or two in a name (NFC and
NFD of Unicode), as one operating system writes it and another.
"""

from __future__ import annotations

import os
import stat
import unicodedata
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from measurements.intake.decoding import printable
from measurements.management.packages import PackageError, safe_name

# A steady log written with fixed decimals packs about a hundredfold; deflate itself ends near 1030.
MOST_PACKED_RATIO = 500


@dataclass(frozen=True, slots=True)
class Limits:
    """How much is taken at once: files of a zip, bytes that it unpacks to, rows of runs."""

    members: int
    unpacked_bytes: int
    rows: int

    @property
    def directory_bytes(self) -> int:
        """How large the directory of a zip of so many members may be [byte]."""
        return 4096 + 512 * self.members


IN_BULK = Limits(members=10_000, unpacked_bytes=4 << 30, rows=100_000)
# Somebody waits for the answer, and a web process is taken until it is given.
WHILE_WAITING = Limits(members=500, unpacked_bytes=1 << 30, rows=500)


class Folder:
    """A package as a folder."""

    def __init__(self, root: Path) -> None:
        self._root = root.resolve()

    def _path(self, name: str) -> Path:
        safe = safe_name(name)
        forms = (safe, unicodedata.normalize("NFC", safe), unicodedata.normalize("NFD", safe))
        there = (form for form in forms if os.path.exists(self._root / form))
        path = self._root / next(there, safe)
        if path.exists() and path.resolve() != path:
            raise PackageError(
                f"“{printable(name)}” is a link. Put the file itself into the package."
            )
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

    def __init__(self, archive: zipfile.ZipFile, limits: Limits) -> None:
        self._archive = archive
        members = [item for item in archive.infolist() if not item.filename.endswith("/")]
        _refuse_overblown(members, limits)
        names: dict[str, zipfile.ZipInfo] = {}
        for member in members:
            name = _key(member.filename)
            if name in names:
                raise PackageError(
                    f"The zip holds “{printable(name)}” twice. Leave one of the two out."
                )
            names[name] = member
        self._members = _without_outer_folder(names)

    def size(self, name: str) -> int | None:
        """Bytes of a file, None when there is no such file. Raises `PackageError`."""
        member = self._members.get(_key(name))
        return member.file_size if member else None

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        """The file for reading. Raises `PackageError`, also while it is read."""
        member = self._members[_key(name)]
        try:
            with self._archive.open(member) as file:
                yield file
        except Exception as error:  # whatever a library stumbles over in a file from outside
            raise PackageError(
                f"“{printable(name)}” cannot be unpacked ({printable(str(error), limit=80)}). "
                "Make the zip again, with deflate."
            ) from error


def _key(name: str) -> str:
    """The name by which a member is found. Raises `PackageError`."""
    return unicodedata.normalize("NFC", safe_name(name))


def _refuse_overblown(members: Sequence[zipfile.ZipInfo], limits: Limits) -> None:
    if len(members) > limits.members:
        raise PackageError(
            f"The zip holds {len(members):,} files; {limits.members:,} are taken at once. Split it."
        )
    if sum(member.file_size for member in members) > limits.unpacked_bytes:
        raise PackageError(
            f"The zip unpacks to more than {limits.unpacked_bytes >> 30} GiB. Split it."
        )
    for member in members:
        name, mode = printable(member.filename), member.external_attr >> 16
        if member.flag_bits & 0x1:
            raise PackageError(f"“{name}” is encrypted. Make the zip without password.")
        if stat.S_ISLNK(mode):
            raise PackageError(f"“{name}” is a link. Put the file itself into the zip.")
        if stat.S_IFMT(mode) not in (0, stat.S_IFREG):
            raise PackageError(f"“{name}” is no ordinary file. Leave it out of the zip.")
        if member.file_size > MOST_PACKED_RATIO * max(member.compress_size, 1024):
            raise PackageError(
                f"“{name}” unpacks to over {MOST_PACKED_RATIO} times its packed size, "
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
