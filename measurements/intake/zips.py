"""Opening a zip from outside without building a directory of millions of entries."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from measurements.intake.decoding import Refused

# Signatures and lengths of APPNOTE.TXT 6.3, 4.3.15 and 4.3.16.
_END, _END_BYTES = b"PK\x05\x06", 22
_LOCATOR, _LOCATOR_BYTES = b"PK\x06\x07", 20
_LONGEST_COMMENT = (1 << 16) - 1
_LARGEST_DIRECTORY = 1 << 20


@contextmanager
def opened_zip(path: Path) -> Iterator[zipfile.ZipFile]:
    """The zip at `path`, its directory of a reasonable size. Raises `Refused`."""
    _refuse_large_directory(path)
    try:
        archive = zipfile.ZipFile(path)
    except Exception as error:  # whatever a library stumbles over in a file from outside
        raise Refused(
            f"The file begins like a zip but cannot be opened as one ({error}). It may have been "
            "cut off on the way: send it again."
        ) from error
    with archive:
        yield archive


def _refuse_large_directory(path: Path) -> None:
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - _END_BYTES - _LONGEST_COMMENT - _LOCATOR_BYTES))
        tail = file.read()
    # Readers differ in which mark they take for the end, so that every one must be harmless.
    ends = [found.start() for found in re.finditer(re.escape(_END), tail)]
    sizes = [int.from_bytes(tail[end + 12 : end + 16], "little") for end in ends]
    if _LOCATOR in tail or any(size > _LARGEST_DIRECTORY for size in sizes):
        raise Refused(
            "The zip lists far more members than a workbook or a set of arrays has. Send the log "
            "itself."
        )
