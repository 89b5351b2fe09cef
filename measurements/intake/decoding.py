"""Bytes to text: which encoding a file is in, and whether it is text at all.

Everything after this sees UTF-8 with line feeds (a carriage return may precede them). A
file that is not so already is copied into a temporary one, block by block.
"""

from __future__ import annotations

import codecs
import io
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from measurements.intake.columns import Problem

BLOCK_BYTES = 1 << 20

_SAVE_AS_CSV = "Save the sheet as CSV and send that."
_LONE_RETURN = re.compile(rb"\r(?!\n)")
_UPPER_CONTROLS = re.compile(rb"[\x80-\x9f]")
_NOT_IN_1252 = re.compile(rb"[\x81\x8d\x8f\x90\x9d]")


class Refused(Exception):
    """The file cannot be read any further; `problem` says why and what to do."""

    def __init__(self, detail: str, *, row: int | None = None, column: str | None = None) -> None:
        super().__init__(detail)
        self.problem = Problem(detail, row=row, column=column)


@dataclass(frozen=True, slots=True)
class Text:
    """A file as UTF-8: `start` is the first byte after a byte order mark.

    `encoding` is what the sent file was in, as a person calls it.
    """

    path: Path
    encoding: str
    start: int


@dataclass(frozen=True, slots=True)
class _Encoding:
    codec: str
    label: str
    mark_bytes: int = 0
    needs_copy: bool = True


def printable(text: str, *, limit: int = 40) -> str:
    """Text that can stand in a message: invisible characters escaped, long text cut."""
    cut = text if len(text) <= limit else text[: limit - 1] + "…"
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode("ascii")
        for sign in cut
    )


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while block := file.read(BLOCK_BYTES):
            yield block


def _utf_16(head: bytes) -> _Encoding | None:
    if head.startswith(codecs.BOM_UTF16_LE):
        return _Encoding("utf-16-le", "UTF-16 (little-endian)", 2)
    if head.startswith(codecs.BOM_UTF16_BE):
        return _Encoding("utf-16-be", "UTF-16 (big-endian)", 2)
    # Without a mark: Latin text in UTF-16 has a zero in (nearly) every second byte, and only there.
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > len(head) // 4 and not even:
        return _Encoding("utf-16-le", "UTF-16 (little-endian, without mark)")
    if even > len(head) // 4 and not odd:
        return _Encoding("utf-16-be", "UTF-16 (big-endian, without mark)")
    return None


def _eight_bit(path: Path) -> _Encoding:
    """The encoding of a file of single bytes or UTF-8, after looking at every byte."""
    decoder = codecs.getincrementaldecoder("utf-8")("strict")
    is_utf8, lone_return, upper_controls, not_1252 = True, False, False, False
    ends_in_return = False
    mark_bytes = 0
    for number, block in enumerate(_blocks(path)):
        if b"\0" in block:
            raise Refused(f"The file holds zero bytes, so it is not text. {_SAVE_AS_CSV}")
        if number == 0 and block.startswith(codecs.BOM_UTF8):
            mark_bytes = len(codecs.BOM_UTF8)
        if ends_in_return and not block.startswith(b"\n"):
            lone_return = True
        ends_in_return = block.endswith(b"\r")
        inner = block[:-1] if ends_in_return else block
        lone_return = lone_return or (b"\r" in inner and bool(_LONE_RETURN.search(inner)))
        if is_utf8:
            try:
                decoder.decode(block)
            except UnicodeDecodeError:
                is_utf8 = False
        if not block.isascii():
            upper_controls = upper_controls or bool(_UPPER_CONTROLS.search(block))
            not_1252 = not_1252 or bool(_NOT_IN_1252.search(block))
    lone_return = lone_return or ends_in_return
    if is_utf8:
        try:
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            is_utf8 = False
    if is_utf8:
        label = "UTF-8 with byte order mark" if mark_bytes else "UTF-8"
        return _Encoding("utf-8", label, mark_bytes, needs_copy=lone_return)
    if upper_controls and not not_1252:
        return _Encoding("cp1252", "Windows-1252")
    return _Encoding("latin-1", "Latin-1")


def _copy_as_utf8(path: Path, encoding: _Encoding, target: Path) -> None:
    with (
        path.open("rb") as source,
        target.open("w", encoding="utf-8", newline="\n") as copy,
    ):
        source.seek(encoding.mark_bytes)
        # newline=None turns every line end into a line feed.
        reader = io.TextIOWrapper(source, encoding=encoding.codec, errors="strict", newline=None)
        try:
            while block := reader.read(BLOCK_BYTES):
                if "\0" in block:
                    raise Refused(f"The file holds zero characters: not text. {_SAVE_AS_CSV}")
                copy.write(block)
        except UnicodeError as error:
            raise Refused(
                f"The file begins like {encoding.label} but is damaged: not all of it can be "
                "read as text. Save it again, best as UTF-8."
            ) from error


@contextmanager
def utf8_text(path: Path) -> Iterator[Text]:
    """Give the file as UTF-8 with line feeds, for the length of the ``with`` block.

    Recognised, in this order: byte order marks, UTF-16 by its pattern of zero bytes, UTF-8
    when the whole file is valid, else Windows-1252 or Latin-1 (told apart by the bytes
    0x80–0x9F, which are control characters in Latin-1).

    Raises
    ------
    Refused
        The file is empty, or no text, or damaged.
    """
    with path.open("rb") as file:
        head = file.read(4096)
    if not head:
        raise Refused("The file is empty. Send the log itself, with its line of headings.")
    encoding = _utf_16(head) or _eight_bit(path)
    if not encoding.needs_copy:
        yield Text(path, encoding.label, encoding.mark_bytes)
        return
    scratch = Path(tempfile.mkdtemp(prefix="table-"))
    try:
        copy = scratch / "text"
        _copy_as_utf8(path, encoding, copy)
        yield Text(copy, encoding.label, 0)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
