"""Zips as no tool makes them, by hand and by the reference library."""

from __future__ import annotations

import io
import stat
import struct
import zipfile
import zlib
from collections.abc import Mapping

from tests.factories.measurements import no_load_log

ADAPTER = "northfold-solo-65"
RUNS = "adapter,kind,file,mains_v\n"
GOOD = no_load_log(minutes=1)

Content = str | bytes


def runs_of(*files: str) -> str:
    """A table of runs, one for each file."""
    return RUNS + "".join(f"{ADAPTER},no-load,{file},230\n" for file in files)


def zipped(files: Mapping[str, Content], *, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A proper zip."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", method) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return held.getvalue()


def package(*others: tuple[str, Content], **files: Content) -> bytes:
    """A package of one good run, with other members."""
    return zipped({"runs.csv": runs_of("a.csv"), "a.csv": GOOD, **dict(others), **files})


def with_mode(mode: int) -> bytes:
    """A package with a member of that type of file (POSIX)."""
    held = io.BytesIO(package())
    info = zipfile.ZipInfo("b.csv")
    info.external_attr = (mode | 0o644) << 16
    with zipfile.ZipFile(held, "a") as archive:
        archive.writestr(info, b"/etc/passwd")
    return held.getvalue()


def twice(name: str) -> bytes:
    """A package with two members of one name."""
    renamed = "A" * len(name)
    return package((renamed, GOOD)).replace(renamed.encode(), name.encode())


def nested(depth: int) -> bytes:
    """Zips in zips, a log in the innermost."""
    content: bytes = GOOD
    for _ in range(depth):
        content = zipped({"inner.zip": content})
    return content


def directory_entry(
    name: bytes, *, offset: int, packed: int, size: int, crc: int = 0, extra: bytes = b""
) -> bytes:
    """An entry of the central directory (APPNOTE.TXT 6.3, 4.3.12)."""
    head = struct.pack(
        "<4s6H3L5H2L",
        b"PK\x01\x02",
        20,
        20,
        0,
        8,
        0,
        0,
        crc,
        packed,
        size,
        len(name),
        len(extra),
        0,
        0,
        0,
        0,
        offset,
    )
    return head + name + extra


def closed(body: bytes, entries: list[bytes]) -> bytes:
    """Members and directory entries as a zip (APPNOTE.TXT 6.3, 4.3.16)."""
    directory = b"".join(entries)
    count = min(len(entries), 0xFFFF)
    end = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, count, count, len(directory), len(body), 0)
    return body + directory + end


def overlapping(members: int, *, size: int) -> bytes:
    """Many members that share one packed stream of zeros of `size` [byte]."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    zeros = bytes(size)
    packed = packer.compress(zeros) + packer.flush()
    name = b"kernel"
    local = struct.pack(
        "<4s5H3L2H", b"PK\x03\x04", 20, 0, 8, 0, 0, zlib.crc32(zeros), len(packed), size, 6, 0
    )
    entry = directory_entry(name, offset=0, packed=len(packed), size=size, crc=zlib.crc32(zeros))
    return closed(local + name + packed, [entry] * members)


def empty_members(count: int) -> bytes:
    """That many members without bytes, all of one directory."""
    return closed(
        b"", [directory_entry(b"%06d" % at, offset=0, packed=0, size=0) for at in range(count)]
    )


def lying(content: bytes, *, size: int) -> bytes:
    """The zip with another unpacked size of ``a.csv`` in its directory (APPNOTE.TXT 4.3.12)."""
    changed = bytearray(content)
    entry = content.rindex(b"PK\x01\x02", 0, content.rindex(b"a.csv"))
    struct.pack_into("<L", changed, entry + 24, size)
    return bytes(changed)


def zip64_negative() -> bytes:
    """A member whose sizes in the extra field of zip64 are all ones (APPNOTE.TXT 4.5.3)."""
    extra = struct.pack("<2H2Q", 1, 16, 2**64 - 1, 2**64 - 1)
    entry = directory_entry(b"a.csv", offset=0, packed=0xFFFFFFFF, size=0xFFFFFFFF, extra=extra)
    return closed(b"PK\x03\x04" + bytes(26), [entry])


def encrypted() -> bytes:
    """A package whose first entry has bit 0 of its flags set (APPNOTE.TXT 4.4.4)."""
    content = bytearray(package())
    content[content.index(b"PK\x01\x02") + 8] |= 1
    return bytes(content)


LINK, PIPE, DEVICE = stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR
