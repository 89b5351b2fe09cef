"""Raw files, kept for ever under the hash of their bytes.

A file is acknowledged only when it would survive a power cut: it is written beside the
store, synced, renamed into place, and every directory on the way is synced too. Nothing
that was kept is ever changed or removed; a copy found damaged is replaced by an intact one.
"""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import Literal

Condition = Literal["intact", "missing", "altered"]

_SHA256 = re.compile(r"[0-9a-f]{64}")


class TooLarge(ValueError):
    """More bytes came than the store accepts for one file; none of them were kept.

    `limit` is in bytes.
    """

    def __init__(self, limit: int) -> None:
        super().__init__(
            f"The file is larger than the {limit:,} bytes accepted for one file. "
            "Split the log, or leave out columns that are not needed."
        )
        self.limit = limit


@dataclass(frozen=True, slots=True)
class Kept:
    """A file in the store.

    `sha256` is lower-case hex, `size` is in bytes. `created` is False when the same bytes
    were there, intact, before; of two calls at the same moment both may say True.
    """

    sha256: str
    size: int
    created: bool


class RawStore:
    """Files under `root`, in folders named after the first digits of their SHA-256.

    Parameters
    ----------
    root : Path
        Made when first needed. ``incoming/`` below it holds files still being received.
    limit : int or None
        Largest file accepted [byte].
    """

    def __init__(self, root: Path, *, limit: int | None = None) -> None:
        self.root = root
        self.limit = limit
        self._incoming = root / "incoming"

    def keep(self, chunks: Iterable[bytes]) -> Kept:
        """Store the bytes; when this returns they are durable.

        Whatever goes wrong, in `chunks` or on the disk, leaves no half-written file.

        Parameters
        ----------
        chunks : iterable of bytes
            The file in any portions.

        Raises
        ------
        TooLarge
            More than `limit` bytes came.
        OSError
            The disk is full or failing; the same bytes may be sent again.
        """
        _make_directory(self._incoming)
        handle, name = tempfile.mkstemp(dir=self._incoming, suffix=".part")
        temporary = Path(name)
        try:
            digest = hashlib.sha256()
            size = self._write(handle, chunks, digest=digest)
            sha256 = digest.hexdigest()
            target = self.path(sha256)
            _make_directory(target.parent)
            created = self.check(sha256) != "intact"
            if created:
                os.replace(temporary, target)
            else:
                os.unlink(temporary)
            # Also when nothing was renamed: another process may have put the file there
            # a moment ago and not have come to this line yet.
            for directory in (target.parent, target.parent.parent, self.root):
                _sync_directory(directory)
        except BaseException:
            with suppress(OSError):
                os.unlink(temporary)
            raise
        return Kept(sha256=sha256, size=size, created=created)

    def _write(self, handle: int, chunks: Iterable[bytes], *, digest: hashlib._Hash) -> int:
        size = 0
        with os.fdopen(handle, "wb") as file:
            for chunk in chunks:
                size += len(chunk)
                if self.limit is not None and size > self.limit:
                    raise TooLarge(self.limit)
                digest.update(chunk)
                file.write(chunk)
            file.flush()
            os.fchmod(file.fileno(), 0o444)
            os.fsync(file.fileno())
        return size

    def path(self, sha256: str) -> Path:
        """Where the file with that hash is, or would be.

        Raises `ValueError` for anything but 64 lower-case hexadecimal digits, so that no
        text from outside can name another place.
        """
        if not _SHA256.fullmatch(sha256):
            raise ValueError("A raw file is named by 64 lower-case hexadecimal digits.")
        return self.root / sha256[:2] / sha256[2:4] / sha256

    def open(self, sha256: str) -> BufferedReader:
        """The bytes for reading. Raises `FileNotFoundError` when the store has no such file."""
        return self.path(sha256).open("rb")

    def check(self, sha256: str) -> Condition:
        """Hash the stored file again and compare."""
        try:
            with self.open(sha256) as file:
                digest = hashlib.file_digest(file, "sha256")
        except FileNotFoundError:
            return "missing"
        return "intact" if digest.hexdigest() == sha256 else "altered"

    def sweep_incoming(self, older_than_s: float) -> int:
        """Remove what a killed process left in ``incoming/``; the number removed.

        Parameters
        ----------
        older_than_s : float
            Time since the last byte was written [s]. Choose it longer than any upload may
            pause: an upload whose file is swept away fails, unacknowledged.
        """
        removed = 0
        newest = time.time() - older_than_s
        for left in self._incoming.glob("*.part"):
            with suppress(FileNotFoundError):
                if left.stat().st_mtime < newest:
                    left.unlink()
                    removed += 1
        return removed


def _make_directory(directory: Path) -> None:
    """Make a directory and its parents, each one durable in the one above."""
    if directory.is_dir():
        return
    _make_directory(directory.parent)
    with suppress(FileExistsError):
        os.mkdir(directory)
    _sync_directory(directory.parent)


def _sync_directory(directory: Path) -> None:
    handle = os.open(directory, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
