"""A look through a workbook before anything of it is built in memory.

A workbook is a zip of XML (ECMA-376, Office Open XML) that comes from outside. Two cells in
far corners, an entity that names itself ten times over, or a megabyte that unpacks to a
thousand can each take a server down. So every member is first streamed through a parser that
keeps nothing: it refuses document types, counts bytes, rows and cells, and notes what a reader
of values would pass over in silence, merged cells and formulas that were never computed.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from xml.parsers import expat

MOST_MEMBERS = 500
MOST_ROWS = 200_000
MOST_COLUMNS = 256
MOST_CELLS = 1_000_000
# Texts, and formats and whatever else there is: their readers make an object of every one.
MOST_STRINGS = 250_000
MOST_OTHERS = 250_000
MOST_PACKED_RATIO = 20
# Below this a workbook may pack as well as it likes: a sheet of equal rows packs a hundredfold.
UNPACKED_ANYWAY = 16 << 20
# Styles and the like are built in memory as a whole by whoever reads them.
LARGEST_OTHER_PART = 16 << 20
LONGEST_TEXT = 1 << 20

_CHUNK_BYTES = 1 << 16
_TRUE = ("1", "true")  # both spellings of a boolean in XML Schema
_ROW_AT_END = re.compile(r"[0-9]+\Z")
_STREAMED = ("xl/worksheets/", "xl/sharedStrings.xml", "xl/media/")


class WorkbookError(Exception):
    """The workbook, or a worksheet of it, cannot be used; the message says why and what to do."""


@dataclass(slots=True)
class SheetFacts:
    """What the scan noted of a worksheet's part.

    `merged` and `uncomputed` are the first of each, "" where there is none. `lowest_merge` is
    the last row of any merged cells, `lowest_merged` where those are. Hidden columns are
    counted by stretches.
    """

    merged: str = ""
    uncomputed: str = ""
    lowest_merge: int = 0
    lowest_merged: str = ""
    hidden_rows: int = 0
    hidden_columns: int = 0


@dataclass(slots=True)
class _Totals:
    """Counts over the whole workbook."""

    unpacked: int = 0
    cells: int = 0
    strings: int = 0
    others: int = 0


def scan(archive: zipfile.ZipFile, *, most_bytes: int) -> Mapping[str, SheetFacts]:
    """Stream every member; part name → facts, which are those of a worksheet or nothing.

    `most_bytes` [byte] is how much the workbook may unpack to. Raises `WorkbookError`.
    """
    members = [member for member in archive.infolist() if not member.filename.endswith("/")]
    if len(members) > MOST_MEMBERS:
        raise WorkbookError(
            f"The workbook holds {len(members):,} parts; {MOST_MEMBERS} are taken. "
            "Keep only the worksheets of this bench."
        )
    packed = sum(member.compress_size for member in members)
    limit = min(most_bytes, max(MOST_PACKED_RATIO * packed, UNPACKED_ANYWAY))
    totals = _Totals()
    facts: dict[str, SheetFacts] = {}
    for member in members:
        if member.flag_bits & 0x1:
            raise WorkbookError("The workbook is encrypted. Save it without a password.")
        scanned = _Part(totals)
        try:
            with archive.open(member) as part:
                size = 0
                while chunk := part.read(_CHUNK_BYTES):
                    size += len(chunk)
                    totals.unpacked += len(chunk)
                    if totals.unpacked > limit:
                        raise WorkbookError(
                            f"The workbook unpacks to more than {limit >> 20} MiB, which no "
                            "sheet of a bench does. Send long logs as CSV or Parquet."
                        )
                    if size > LARGEST_OTHER_PART and not member.filename.startswith(_STREAMED):
                        raise WorkbookError(
                            f"The part “{member.filename}” of the workbook is larger than "
                            f"{LARGEST_OTHER_PART >> 20} MiB. Copy the cells into a new workbook."
                        )
                    scanned.feed(chunk)
        except (
            zipfile.BadZipFile,
            zlib.error,
            EOFError,
            NotImplementedError,
            OSError,
            UnicodeError,
        ) as error:
            raise WorkbookError(
                f"The workbook is damaged: “{member.filename}” cannot be unpacked ({error}). "
                "Save it again."
            ) from error
        if scanned.fault and member.filename.endswith((".xml", ".rels")):
            raise WorkbookError(
                f"The workbook is damaged: “{member.filename}” is not well formed "
                f"({scanned.fault}). Save it again."
            )
        facts[member.filename] = scanned.facts
    return facts


@dataclass(slots=True)
class _Part:
    """One member on its way through the parser. What is no XML ends with a `fault`.

    Names are taken without their prefix, and wherever they stand: what only looks like a cell is
    counted as one too, because readers go by names and not by what a part calls itself.
    """

    totals: _Totals
    facts: SheetFacts = field(default_factory=SheetFacts)
    fault: str = ""
    _fed: int = 0
    _begun_at: int = 0
    _row: int = 0
    _column: int = 0
    _reference: str = ""
    _has_value: bool = False
    _parser: expat.XMLParserType = field(init=False)

    def __post_init__(self) -> None:
        self._parser = expat.ParserCreate()
        self._parser.StartDoctypeDeclHandler = self._doctype
        self._parser.StartElementHandler = self._start

    def feed(self, chunk: bytes) -> None:
        """Take more bytes. Raises `WorkbookError`."""
        if self.fault:
            return
        try:
            self._parser.Parse(chunk, False)
        except expat.ExpatError as error:
            self.fault = str(error)
            return
        self._fed += len(chunk)
        if self._fed - self._begun_at > LONGEST_TEXT:
            raise WorkbookError(
                "The workbook holds a text of more than a million signs. Delete that cell."
            )

    def _doctype(self, *_: object) -> None:
        raise WorkbookError(
            "The workbook holds a document type declaration, which no spreadsheet program "
            "writes. Copy the cells into a new workbook."
        )

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        local = name.rpartition(":")[2] if ":" in name else name
        self._begun_at = self._fed
        if local == "c":
            self._begin_cell(attributes.get("r", ""))
        elif local == "row":
            self._row, self._column = _row_number(attributes.get("r"), self._row + 1), 0
            self._bound()
            self.facts.hidden_rows += attributes.get("hidden") in _TRUE
        elif local == "f":
            self._has_value = False
            self._parser.EndElementHandler = self._end
        elif local == "v":
            if self._parser.EndElementHandler is not None:
                self._parser.CharacterDataHandler = self._value
        elif local == "si":
            self.totals.strings += 1
            if self.totals.strings > MOST_STRINGS:
                self._too_much(f"more than {MOST_STRINGS:,} different texts")
        elif local not in ("t", "is"):
            self._other(local, attributes)

    def _other(self, local: str, attributes: dict[str, str]) -> None:
        self.totals.others += 1
        if self.totals.others > MOST_OTHERS:
            self._too_much(f"more than {MOST_OTHERS:,} formats, links and the like")
        if local == "mergeCell":
            self._merged(attributes.get("ref", "")[:32])
        elif local == "col":
            self.facts.hidden_columns += attributes.get("hidden") in _TRUE

    def _too_much(self, what: str) -> None:
        raise WorkbookError(
            f"The workbook holds {what}, besides its cells. Copy the cells into a new workbook, "
            "and send long logs as CSV or Parquet."
        )

    def _merged(self, reference: str) -> None:
        reference = reference or "somewhere"
        self.facts.merged = self.facts.merged or reference
        found = _ROW_AT_END.search(reference)
        # What names no row might be anywhere.
        row = int(found.group()) if found else MOST_ROWS
        if row > self.facts.lowest_merge:
            self.facts.lowest_merge, self.facts.lowest_merged = row, reference

    def _end(self, name: str) -> None:
        """Only while a cell with a formula is open."""
        local = name.rpartition(":")[2]
        if local == "v":
            self._parser.CharacterDataHandler = None
        elif local == "c":
            self._parser.EndElementHandler = None
            if not self._has_value and not self.facts.uncomputed:
                self.facts.uncomputed = self._reference[:32] or f"row {self._row}"

    def _value(self, _: str) -> None:
        self._has_value = True

    def _begin_cell(self, reference: str) -> None:
        letters = reference.rstrip("0123456789")
        self._column = _column_number(letters) if letters else self._column + 1
        self._reference = reference
        self.totals.cells += 1
        if self._column > MOST_COLUMNS or self.totals.cells > MOST_CELLS:
            self._bound()

    def _bound(self) -> None:
        if self._row > MOST_ROWS or self._column > MOST_COLUMNS or self.totals.cells > MOST_CELLS:
            raise WorkbookError(
                f"The workbook is too large: a worksheet may have {MOST_ROWS:,} rows and "
                f"{MOST_COLUMNS} columns, all of them together {MOST_CELLS:,} cells. Delete cells "
                "that were only formatted, and send long logs as CSV or Parquet."
            )


@lru_cache(maxsize=1024)
def _column_number(letters: str) -> int:
    """The number of a column by its letters; one past the last for what is no such name."""
    number = 0
    for letter in letters.upper()[:4]:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number if letters.isascii() and letters.isalpha() else MOST_COLUMNS + 1


def _row_number(text: str | None, following: int) -> int:
    """The number of a row as readers understand it, who take ``1e6`` for a million too."""
    if text is None:
        return following
    try:
        return int(text)
    except ValueError:
        pass
    try:
        return int(float(text))
    except (ValueError, OverflowError) as error:
        raise WorkbookError(
            f"The workbook is damaged: a row of a worksheet has the number “{text[:32]}”. "
            "Save it again."
        ) from error
