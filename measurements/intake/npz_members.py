"""The arrays of a `.npz` file, found by their headers and streamed when asked for."""

from __future__ import annotations

import math
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from measurements.intake.decoding import Refused, printable
from measurements.intake.heading_lines import MAX_COLUMNS
from measurements.intake.numpy_headers import Header, read_header
from measurements.intake.series import ROWS_AT_ONCE

_SUFFIX = ".npy"


@dataclass(frozen=True, slots=True)
class Member:
    """An array of the archive; nothing of its values is read yet."""

    name: str
    header: Header
    archive: zipfile.ZipFile
    info: zipfile.ZipInfo

    @property
    def values(self) -> int:
        """How many values it has."""
        return math.prod(self.header.shape)

    def blocks(self) -> Iterator[NDArray[Any]]:
        """The values in order, some at a time; reading the last one checks the sum of the zip."""
        size = self.header.dtype.itemsize
        left = self.header.content_bytes
        with self.archive.open(self.info) as part:
            part.read(self.header.size)
            while left:
                block = part.read(min(left, ROWS_AT_ONCE * size))
                if not block:
                    raise EOFError("cut off")
                # A short read ends within a value at worst; the rest of it comes next.
                block += part.read(-len(block) % size)
                left -= len(block)
                yield np.frombuffer(block, dtype=self.header.dtype)


def listed_members(archive: zipfile.ZipFile) -> tuple[tuple[Member, ...], str]:
    """The arrays, and the names of other members as text. Raises `Refused`."""
    infos = [info for info in archive.infolist() if not info.filename.endswith("/")]
    if len(infos) > MAX_COLUMNS:
        raise Refused(f"The archive holds {len(infos):,} arrays; {MAX_COLUMNS} are taken.")
    seen: set[str] = set()
    members, others = [], []
    for info in infos:
        name = info.filename
        spoken = f"‘{printable(name)}’"
        if name in seen:
            raise Refused(f"The archive holds {spoken} twice. Leave one of the two out.")
        seen.add(name)
        if name.startswith("/") or "\\" in name or ".." in name.split("/"):
            raise Refused(
                f"The archive holds {spoken}, a path to another folder. Name arrays by headings."
            )
        if info.flag_bits & 0x1:
            raise Refused(f"{spoken} of the archive is encrypted. Save it without a password.")
        if name.endswith(_SUFFIX):
            members.append(_member(archive, info, spoken))
        else:
            others.append(spoken)
    return tuple(members), ", ".join(others[:8]) + (" and others" if len(others) > 8 else "")


def _member(archive: zipfile.ZipFile, info: zipfile.ZipInfo, spoken: str) -> Member:
    try:
        with archive.open(info) as part:
            header = read_header(part, file_size=info.file_size, spoken=spoken)
    except Refused:
        raise
    except Exception as error:  # whatever unpacking stumbles over in a file from outside
        raise Refused(
            f"{spoken} of the archive cannot be unpacked ({error}). Save it again."
        ) from error
    return Member(info.filename.removesuffix(_SUFFIX), header, archive, info)
