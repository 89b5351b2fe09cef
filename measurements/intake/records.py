"""Where the rows of a text file begin and how many cells each has, for the whole file.

Found without making an object a row: line ends and separators are counted block by block
in arrays. Only a file with quotation marks is walked row by row, because a quoted cell may
hold separators and line ends.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import IntArray
from measurements.intake.decoding import Refused, Text

MAX_LINE_BYTES = 1 << 20
MAX_ROWS = 12_000_000
_BLOCK = 1 << 22

_LINE_FEED, _RETURN, _QUOTE = b'\n\r"'


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of a text as a text editor counts them.

    `bounds` has one entry more than there are lines: line i (from 0) is the bytes from
    ``bounds[i]`` to ``bounds[i + 1]`` of `data`, its line end included.
    """

    text: Text
    data: NDArray[np.uint8]
    bounds: IntArray

    def __len__(self) -> int:
        return len(self.bounds) - 1

    def read(self, first: int, last: int) -> str:
        """Lines `first` to `last` (not included), from 0."""
        return self.data[self.bounds[first] : self.bounds[last]].tobytes().decode("utf-8")


@dataclass(frozen=True, slots=True)
class Records:
    """The rows of the table below the headings.

    `lines` is the line in which each begins, counted from 1; `cells` how many cells it has,
    0 for a blank line; `quoted` whether any cell of the file is quoted.
    """

    source: Lines
    delimiter: str
    quoted: bool
    lines: IntArray
    cells: IntArray

    def __len__(self) -> int:
        return len(self.lines)

    def read(self, index: int) -> list[str]:
        """The cells of one row as text."""
        first = int(self.lines[index]) - 1
        last = int(self.lines[index + 1]) - 1 if index + 1 < len(self) else len(self.source)
        text = self.source.read(first, last)
        if not self.quoted:
            return text.rstrip("\r\n").split(self.delimiter)
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=self.delimiter)
        return next(reader, [])

    def until(self, stop: int) -> Records:
        """The first `stop` rows."""
        return replace(self, lines=self.lines[:stop], cells=self.cells[:stop])


def find_lines(text: Text) -> Lines:
    """Every line of the file. Raises `Refused` for a line or a number of lines beyond reason."""
    # Mapped for the few rows that are looked at as text.
    data = np.memmap(text.path, dtype=np.uint8, mode="r")
    # Counted first, so that the places need no list of arrays that is joined in the end.
    feeds = sum(
        int(np.count_nonzero(block == _LINE_FEED))
        for _, block in _blocks(text.path, start=text.start)
    )
    if feeds > MAX_ROWS:
        raise Refused(f"The file has more than {MAX_ROWS:,} lines. Thin the log or split it.")
    bounds = np.empty(feeds + 2, dtype=np.int64)
    bounds[0] = text.start
    last, count = text.start, 0
    for base, block in _blocks(text.path, start=text.start):
        found = np.flatnonzero(block == _LINE_FEED) + (base + 1)
        bounds[count + 1 : count + 1 + len(found)] = found
        count += len(found)
        last = int(found[-1]) if len(found) else last
        if min(base + _BLOCK, len(data)) - last > MAX_LINE_BYTES:
            break  # told below, with its line
    if last < len(data):
        count += 1
        bounds[count] = len(data)
    joined = bounds[: count + 1]
    longest = np.flatnonzero(np.diff(joined) > MAX_LINE_BYTES)
    if len(longest):
        raise Refused(
            f"The line is longer than {MAX_LINE_BYTES:,} bytes; a table has one line a row. "
            "Check that the file is a log and that its line ends survived the transfer.",
            row=int(longest[0]) + 1,
        )
    return Lines(text, data, joined)


def _blocks(path: Path, *, start: int) -> Iterator[tuple[int, NDArray[np.uint8]]]:
    """The file from a byte on, block by block. Read, not mapped: mapped pages stay resident."""
    with path.open("rb") as file:
        file.seek(start)
        while content := file.read(_BLOCK):
            yield start, np.frombuffer(content, dtype=np.uint8)
            start += len(content)


def find_records(lines: Lines, *, first: int, delimiter: str) -> Records:
    """The rows from line `first` (counted from 0) to the end of the file.

    Raises `Refused` where quotation marks do not pair, so that rows cannot be told apart.
    """
    data = lines.data
    ends = lines.bounds[first + 1 :]
    separators_up_to = np.zeros(len(ends), dtype=np.int64)
    total = 0
    for base, block in _blocks(lines.text.path, start=int(lines.bounds[first])):
        if np.any(block == _QUOTE):
            return _quoted_records(lines, first=first, delimiter=delimiter)
        places = np.flatnonzero(block == ord(delimiter)) + base
        low, high = np.searchsorted(ends, (base, base + len(block)), side="right")
        separators_up_to[low:high] = total + np.searchsorted(places, ends[low:high])
        total += len(places)
    cells = np.diff(separators_up_to, prepend=0) + 1
    # A line of one or two bytes is blank when it begins with its line end.
    starts = lines.bounds[first:-1]
    short = np.flatnonzero((ends - starts <= 2) & (cells == 1))
    cells[short[np.isin(data[starts[short]], (_RETURN, _LINE_FEED))]] = 0
    numbers = np.arange(first + 1, len(lines) + 1, dtype=np.int64)
    return Records(lines, delimiter, quoted=False, lines=numbers, cells=cells)


def _quoted_records(lines: Lines, *, first: int, delimiter: str) -> Records:
    begins: list[int] = []
    cells: list[int] = []
    line = first
    with lines.text.path.open("rb") as file:
        file.seek(int(lines.bounds[first]))
        rows = csv.reader(
            io.TextIOWrapper(file, encoding="utf-8", newline=""),
            delimiter=delimiter,
            strict=True,
        )
        try:
            for row in rows:
                begins.append(line + 1)
                cells.append(len(row))
                line = first + rows.line_num
        except csv.Error as error:
            raise Refused(
                "A quotation mark in this row is not closed, or stands in the middle of a cell. "
                "Remove it, or double it inside a quoted cell.",
                row=line + 1,
            ) from error
    return Records(
        lines,
        delimiter,
        quoted=True,
        lines=np.array(begins, dtype=np.int64),
        cells=np.array(cells, dtype=np.int64),
    )
