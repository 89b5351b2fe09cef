"""The cells of a table's rows as numbers in canonical units, or what is wrong with them.

All numbers go through the compiled parser of the table library at once. Only when that
stumbles are the cells looked at as text, portion by portion, to settle decimal mark and
clock stamps from the whole file and to name every bad cell.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, BinaryIO, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from measurements.intake import units
from measurements.intake.body import SHOWN_PROBLEMS, Body, Problems
from measurements.intake.cells import (
    BLANKS,
    ClockColumn,
    NumberStyle,
    Parsed,
    StyleEvidence,
    complaint,
    is_clock,
    parse_numbers,
)
from measurements.intake.columns import Column, FloatArray, Problem, Table
from measurements.intake.decoding import BLOCK_BYTES, Refused, printable
from measurements.intake.headings import Match

_ROWS_AT_ONCE = 50_000
_DECIMAL_MARKS: dict[bool, tuple[Literal[".", ","], ...]] = {False: (".",), True: (".", ",")}
_BOOLEAN = re.compile(rb"true|false", re.IGNORECASE)
_PARSER_ERRORS = (ValueError, OverflowError)  # the table library's own are ValueErrors
_UNEVEN = (
    "The rows could not be told apart reliably. Save the table again as plain CSV, without "
    "quotation marks or line ends inside cells."
)
# A bound is inclusive, and a unit conversion may cost the last digits.
_BOUND_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class Cells:
    """Every column as it was parsed, in the unit of the file.

    `clocks` are the columns (by index) read as clock stamps [s].
    """

    parsed: Mapping[int, Parsed]
    style: NumberStyle
    clocks: frozenset[int] = frozenset()
    crossed_midnight: bool = False


@dataclass(frozen=True, slots=True)
class Values:
    """The table, and sentences on how its cells were read."""

    table: Table
    notes: tuple[str, ...]


def read_values(body: Body, problems: Problems) -> Values:
    """Parse, convert and check every cell of every column that was matched.

    Adds to `problems`; the table is meaningless if there are any.
    """
    cells = _read_plain(body) or _read_as_text(body)
    columns: dict[str, FloatArray] = {}
    for match in body.layout.matching.matches:
        columns[match.name] = _column(body, match, cells, problems)
    mark = "comma" if cells.style.decimal == "," else "point"
    grouped = ", and thousands are grouped" if cells.style.grouped else ""
    notes = [f"The decimal mark is a {mark}{grouped}."]
    for match in body.layout.matching.matches:
        if match.index in cells.clocks:
            notes.append(f"The clock stamps of {match.heading.spoken} are counted from the first.")
    if cells.crossed_midnight:
        notes.append("The time of day passes midnight and is continued on the next day.")
    rows = body.records.lines[body.filled]
    return Values(Table(columns, rows), tuple(notes))


def _opened(body: Body) -> BinaryIO:
    """The file at its first row.

    The parser is given a position, not a number of lines to skip: in skipped lines it would
    still pair quotation marks, and one in the preamble could swallow the headings.
    """
    source = body.records.source
    file = source.text.path.open("rb")
    file.seek(int(source.bounds[body.layout.first]))
    return file


def _parser_options(body: Body) -> dict[str, Any]:
    records = body.records
    return {
        "sep": records.delimiter,
        "header": None,
        "index_col": False,
        "names": range(int(records.cells.max())),
        "usecols": [match.index for match in body.layout.matching.matches],
        "nrows": len(records),
        "skip_blank_lines": False,  # so that rows are counted as the records are
        "quoting": csv.QUOTE_MINIMAL if records.quoted else csv.QUOTE_NONE,
        "keep_default_na": False,
        "encoding": "utf-8",
        "engine": "c",
    }


def _has_booleans(body: Body) -> bool:
    """Whether a cell might be TRUE or FALSE, which the parser would take for 1 or 0."""
    with _opened(body) as file:
        tail = b""
        while block := file.read(BLOCK_BYTES):
            # Looking for one letter first costs next to nothing in a file of numbers.
            text = tail + block
            if any(letter in text for letter in b"uUlL") and _BOOLEAN.search(text):
                return True
            tail = text[-len(b"FALSE") :]
    return False


def _read_plain(body: Body) -> Cells | None:
    """Every column as plain numbers at once, or None when some cell is something else."""
    matches = body.layout.matching.matches
    if any(match.unit is None for match in matches) or _has_booleans(body):
        return None
    filled, none_bad = body.filled, np.empty(0, dtype=np.int64)
    for mark in _DECIMAL_MARKS[body.records.delimiter == ";"]:
        try:
            with _opened(body) as file:
                frame = pd.read_csv(
                    file,
                    dtype=np.float64,
                    na_values=[""],
                    decimal=mark,
                    **_parser_options(body),
                )
        except _PARSER_ERRORS:
            continue
        if len(frame) == len(body.records):
            parsed = {
                match.index: Parsed(frame[match.index].to_numpy()[filled], none_bad)
                for match in matches
            }
            return Cells(parsed, NumberStyle(mark))
    return None


def _portions(body: Body) -> Iterator[dict[int, list[str]]]:
    """The cells as text, some thousand rows at a time, without blank lines."""
    start, counts = 0, body.records.cells
    try:
        with (
            _opened(body) as file,
            pd.read_csv(
                file, dtype=str, na_filter=False, chunksize=_ROWS_AT_ONCE, **_parser_options(body)
            ) as portions,
        ):
            for frame in portions:
                kept = np.flatnonzero(counts[start : start + len(frame)] > 0)
                start += len(frame)
                yield {
                    int(index): frame[index].to_numpy(dtype=object)[kept].tolist()
                    for index in frame.columns
                }
    except _PARSER_ERRORS as error:
        raise Refused(_UNEVEN) from error
    if start != len(counts):
        raise Refused(_UNEVEN)


def _read_as_text(body: Body) -> Cells:
    """Every column cell by cell: decimal mark and clock stamps first, then the numbers."""
    matches = body.layout.matching.matches
    delimiter = body.records.delimiter
    timed = {match.index for match in matches if units.compatible(match.column.unit, "s")}
    evidence = StyleEvidence()
    clocks: set[int] = set()
    for portion in _portions(body):
        for index, cells in portion.items():
            if index in timed and (first := next(filter(str.strip, cells), None)) is not None:
                timed.discard(index)  # the first stamp decides for the column
                if is_clock(first):
                    clocks.add(index)
            if delimiter != "," and index not in clocks:
                evidence.add(cells)
    style = evidence.style(semicolons=delimiter == ";")

    stamps = {index: ClockColumn() for index in clocks}
    numbers: dict[int, list[Parsed]] = {match.index: [] for match in matches}
    for portion in _portions(body):
        for index, cells in portion.items():
            if index in clocks:
                stamps[index].add(cells)
            else:
                numbers[index].append(parse_numbers(cells, style))
    parsed = {index: _joined(parts) for index, parts in numbers.items() if index not in clocks}
    parsed |= {index: stamp.finish() for index, stamp in stamps.items()}
    crossed = any(stamp.crossed_midnight for stamp in stamps.values())
    return Cells(parsed, style, frozenset(clocks), crossed)


def _joined(parts: list[Parsed]) -> Parsed:
    starts = np.cumsum([0, *(len(part.values) for part in parts)])
    return Parsed(
        np.concatenate([part.values for part in parts]),
        np.concatenate([part.bad + start for part, start in zip(parts, starts, strict=False)]),
    )


def _column(body: Body, match: Match, cells: Cells, problems: Problems) -> FloatArray:
    """One column in its canonical unit, its bad cells added to the problems."""
    column, parsed = match.column, cells.parsed[match.index]
    heading = printable(match.heading.text.strip())
    unit = "s" if match.index in cells.clocks else match.unit
    if unit is None:
        problems.add(
            Problem(
                f"{match.heading.spoken} names no unit, and its cells are no clock stamps. "
                f"Write the unit in the heading: ‘{column.name}’.",
                row=body.layout.line + 1,
                column=heading,
            )
        )
        return parsed.values
    with np.errstate(over="ignore", invalid="ignore"):
        values = units.convert(parsed.values, from_unit=unit, to_unit=column.unit)
    wrong = np.isinf(values)
    wrong[parsed.bad] = True
    if column.required:
        wrong |= np.isnan(values)
    outside = ~wrong & _outside(values, column)
    filled = body.filled
    places = np.flatnonzero(wrong | outside).tolist()
    problems.more(len(places[SHOWN_PROBLEMS:]))
    for place in places[:SHOWN_PROBLEMS]:
        record = int(filled[place])
        row = body.records.read(record)
        text = row[match.index] if match.index < len(row) else ""
        if wrong[place]:
            detail = _wrong_cell(text, match=match, cells=cells)
        else:
            detail = _outside_cell(text, value=float(values[place]), match=match)
        problems.add(Problem(detail, row=int(body.records.lines[record]), column=heading))
    return values


def _outside(values: FloatArray, column: Column) -> NDArray[np.bool_]:
    """Which values are beyond the bounds of the column; NaN is not."""
    outside = np.zeros(len(values), dtype=np.bool_)
    if column.minimum is not None:
        outside |= values < column.minimum - _BOUND_TOLERANCE * max(1.0, abs(column.minimum))
    if column.maximum is not None:
        outside |= values > column.maximum + _BOUND_TOLERANCE * max(1.0, abs(column.maximum))
    return outside


def _wrong_cell(text: str, *, match: Match, cells: Cells) -> str:
    if match.index in cells.clocks and text.strip(BLANKS):
        return (
            f"‘{printable(text.strip(BLANKS))}’ is not a clock stamp like the first of its column. "
            "Write all of them as 2026-01-31T14:05:00 or as 14:05:00, with or without zone alike."
        )
    return complaint(text, title=match.title, style=cells.style)


def _outside_cell(text: str, *, value: float, match: Match) -> str:
    column = match.column
    unit = units.shown(column.unit) if column.unit else ""
    if column.minimum is None:
        bounds = f"at most {column.maximum:g}"
    elif column.maximum is None:
        bounds = f"at least {column.minimum:g}"
    else:
        bounds = f"from {column.minimum:g} to {column.maximum:g}"
    hint = "Check the cell and the unit in the heading."
    for factor, words in ((1e-3, "A thousandth"), (1e3, "A thousand times as much")):
        if not _outside(np.array([value * factor]), column)[0]:
            hint = f"{words} would be possible: check the unit in the heading."
            break
    return (
        f"‘{printable(text.strip(BLANKS))}’ is {value:g} {unit}".rstrip()
        + f", but {match.title} is always {bounds} {unit}".rstrip()
        + f". {hint}"
    )
