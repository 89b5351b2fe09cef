"""Opening a zip from outside: its directory is judged before anything is built or unpacked.

The layout is that of APPNOTE.TXT 6.3. A directory can list millions of members in a few megabytes,
and members may be made to share one packed stream, so that little unpacks to very much.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from measurements.intake.decoding import Refused, printable

# Signatures and lengths of APPNOTE.TXT 6.3, 4.3.7, 4.3.15 and 4.3.16.
_END, _END_BYTES = b"PK\x05\x06", 22
_LOCATOR, _LOCATOR_BYTES = b"PK\x06\x07", 20
_LOCAL_BYTES = 30
_LONGEST_COMMENT = (1 << 16) - 1
_LARGEST_DIRECTORY = 1 << 20
# Others unpack by the block and not by the byte, however much one block holds.
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


class ZipFault(Exception):
    """Why a zip is not opened; the text says it and what to do."""


class TooManyMembers(ZipFault):
    """The directory is larger than that of any zip that is meant here."""


@contextmanager
def opened_zip(path: Path) -> Iterator[zipfile.ZipFile]:
    """The zip at `path`, its directory of a reasonable size. Raises `Refused`."""
    with path.open("rb") as file:
        try:
            archive = open_zip(file, largest_directory=_LARGEST_DIRECTORY)
        except TooManyMembers as error:
            raise Refused(
                "The zip lists far more members than a workbook or a set of arrays has. Send the "
                "log itself."
            ) from error
        except ZipFault as error:
            raise Refused(f"The file begins like a zip. {error}") from error
        with archive:
            yield archive


def open_zip(file: IO[bytes], *, largest_directory: int) -> zipfile.ZipFile:
    """The zip in `file`, whose directory has at most `largest_directory` [byte].

    Members lie apart and are stored or deflated. Raises `ZipFault`.
    """
    size = _refuse_large_directory(file, largest_directory)
    try:
        archive = zipfile.ZipFile(file)
    except Exception as error:  # whatever a library stumbles over in a file from outside
        raise ZipFault(
            f"It cannot be opened as a zip ({printable(str(error), limit=80)}). It may have been "
            "cut off on the way: send it again."
        ) from error
    _refuse_odd_members(archive.infolist(), size)
    return archive


def _refuse_large_directory(file: IO[bytes], largest: int) -> int:
    """The size of the file, unless its directory is too large."""
    size = file.seek(0, 2)
    file.seek(max(0, size - _END_BYTES - _LONGEST_COMMENT - _LOCATOR_BYTES))
    tail = file.read()
    file.seek(0)
    # Readers differ in which mark they take for the end, so that every one must be harmless.
    ends = [found.start() for found in re.finditer(re.escape(_END), tail)]
    sizes = [int.from_bytes(tail[end + 12 : end + 16], "little") for end in ends]
    if _LOCATOR in tail or any(size > largest for size in sizes):
        raise TooManyMembers(
            "The zip lists far more members than are taken, or is of the form for more than "
            "4 GiB. Split it."
        )
    return size


def _refuse_odd_members(members: list[zipfile.ZipInfo], size: int) -> None:
    free_from = 0
    for member in sorted(members, key=lambda member: member.header_offset):
        name = printable(member.filename, limit=80)
        if member.compress_type not in _METHODS:
            raise ZipFault(
                f"“{name}” is packed by a method that is not read. Make the zip again, with "
                "deflate."
            )
        if 0 <= member.header_offset < free_from:
            raise ZipFault(
                f"“{name}” shares its bytes with another member, which no zip tool does. Make the "
                "zip again."
            )
        free_from = member.header_offset + _LOCAL_BYTES + member.compress_size
        if member.header_offset < 0 or free_from > size:
            raise ZipFault(
                f"“{name}” lies beyond the ends of the zip, so that it was cut off or damaged. "
                "Send it again."
            )
