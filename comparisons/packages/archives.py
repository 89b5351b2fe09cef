"""The zip that a package is written as: members hashed on the way, the same bytes every time."""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import IO

from comparisons.packages.columns import text_of
from comparisons.packages.tables import Cells, Table
from measurements.management.stores import MOST_PACKED_RATIO

PORTION_BYTES = 1 << 20
# The earliest moment that a zip can state, so that the clock leaves no mark.
_MOMENT = (1980, 1, 1, 0, 0, 0)
_ORDINARY_FILE = 0o100644 << 16


@dataclass(frozen=True, slots=True)
class Member:
    """A file of the package: its path, size [byte], SHA-256 (hex), and rows if it is a table."""

    path: str
    size: int
    sha256: str
    rows: int = 0


class _Hashed(io.RawIOBase):
    """Passes bytes on, counted and hashed."""

    def __init__(self, sink: IO[bytes]) -> None:
        self._sink = sink
        self.size = 0
        self.digest = hashlib.sha256()

    def writable(self) -> bool:
        """It is written to."""
        return True

    def write(self, portion: bytes) -> int:  # type: ignore[override]  # any bytes-like here
        """Pass one portion on."""
        self.size += len(portion)
        self.digest.update(portion)
        return self._sink.write(portion)


class PackageWriter:
    """Writes the members of a package into an open zip."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    @contextmanager
    def _member(self, path: str, *, packed: bool = True) -> Iterator[_Hashed]:
        info = zipfile.ZipInfo(path, date_time=_MOMENT)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        info.external_attr = _ORDINARY_FILE
        info.create_system = 3
        with self._archive.open(info, "w") as sink:
            yield _Hashed(sink)

    def table(self, table: Table, rows: Iterable[Cells]) -> Member:
        """Write a table as CSV after RFC 4180: UTF-8, commas, CR LF."""
        count = 0
        with self._member(table.path) as hashed:
            buffered = io.BufferedWriter(hashed, buffer_size=PORTION_BYTES)  # type: ignore[type-var]  # it writes
            text = io.TextIOWrapper(buffered, encoding="utf-8", newline="", write_through=False)
            writer = csv.writer(text, lineterminator="\r\n")
            writer.writerow(table.headings)
            for cells in rows:
                pairs = zip(table.columns, cells, strict=True)
                writer.writerow([text_of(column, value) for column, value in pairs])
                count += 1
            text.flush()
            text.detach()
            buffered.detach()
        return Member(table.path, hashed.size, hashed.digest.hexdigest(), count)

    def file(self, path: str, chunks: Callable[[], Iterable[bytes]]) -> Member:
        """Write a file; `chunks` gives its bytes, once or twice."""
        packed = not _packs_too_well(chunks())
        with self._member(path, packed=packed) as hashed:
            for chunk in chunks():
                hashed.write(chunk)
        return Member(path, hashed.size, hashed.digest.hexdigest())

    def content(self, path: str, content: bytes) -> Member:
        """Write a small file."""
        with self._member(path) as hashed:
            hashed.write(content)
        return Member(path, hashed.size, hashed.digest.hexdigest())


def _packs_too_well(chunks: Iterable[bytes]) -> bool:
    """Whether whoever opens the zip would take the file for one that is made to overflow."""
    size, packed = 0, 0
    packer = zlib.compressobj()
    for chunk in chunks:
        size += len(chunk)
        packed += len(packer.compress(chunk))
        if size <= MOST_PACKED_RATIO * packed:
            return False
    packed += len(packer.flush())
    # Half of the limit: the packer of the zip need not give the same size.
    return size > MOST_PACKED_RATIO // 2 * max(packed, 1024)
