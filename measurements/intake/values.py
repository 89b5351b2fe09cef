"""The cells of a table's rows as numbers in canonical units, or what is wrong with them.

All numbers go through a compiled parser at once: that of plain tables, else that of the table
library, which takes quotation marks and uneven rows. Only when both stumble are the cells looked at
as text, portion by portion, to settle decimal mark and clock stamps from the whole file and to name
every bad cell. Columns of names and words are read apart and say nothing of either.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from measurements.intake import judging, units
from measurements.intake.body import Body
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
from measurements.intake.columns import FloatArray, Problem, Table
from measurements.intake.decoding import BLOCK_BYTES, printable
from measurements.intake.evidence import DecimalMark
from measurements.intake.matches import Match
from measurements.intake.plain_numbers import read_plain_numbers
from measurements.intake.portions import PARSER_ERRORS, opened, parser_options, portions
from measurements.intake.problems import Draft, Problems
from measurements.intake.texts import read_texts

_ROWS_AT_ONCE = 500_000
_DECIMAL_MARKS: dict[bool, tuple[Literal[".", ","], ...]] = {
    False: (".",),
    True: (".", ","),
}
_BOOLEAN = re.compile(rb"true|false", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Cells:
    """Every column as it was parsed, in the unit of the file.

    `clocks` are the columns (by index) read as clock stamps [s]. `is_open` says that nothing in
    the file settles the decimal mark.
    """

    parsed: Mapping[int, Parsed]
    style: NumberStyle
    clocks: frozenset[int] = frozenset()
    crossed_midnight: bool = False
    is_open: bool = False


@dataclass(frozen=True, slots=True)
class Values:
    """The table, and sentences on how its cells were read.

    `decimal` is the decimal mark, "" in a table of words; `is_open` that every number could be
    read with either.
    """

    table: Table
    notes: tuple[str, ...]
    decimal: DecimalMark = ""
    is_open: bool = False


def read_values(body: Body, draft: Draft) -> Values:
    """Parse, convert and check every cell of every column that was matched.

    Adds to the draft's problems; the table is meaningless if there are any.
    """
    problems = draft.problems
    matches = body.layout.matching.matches
    numbers = [match for match in matches if not match.column.is_text]
    cells = _read_cells(body, numbers, draft.told) if numbers else Cells({}, NumberStyle())
    columns, notes = _converted(body, numbers, cells, problems) if numbers else ({}, ())
    words = [match for match in matches if match.column.is_text]
    texts = read_texts(body, words, problems)
    return Values(
        table=Table(columns, _kept(body, body.records.lines), texts),
        notes=notes,
        decimal=cells.style.decimal if numbers else "",
        is_open=cells.is_open,
    )


def _read_cells(body: Body, matches: Sequence[Match], told: Callable[[float], None]) -> Cells:
    applied = body.layout.matching.applied
    decimal = applied.decimal if applied else ""
    return _read_plain(body, matches, decimal, told) or _read_as_text(body, matches, decimal, told)


def _converted(
    body: Body, matches: Sequence[Match], cells: Cells, problems: Problems
) -> tuple[Mapping[str, FloatArray], tuple[str, ...]]:
    """The columns of numbers by canonical name, and how their cells were read."""
    columns = {match.name: _column(body, match, cells, problems) for match in matches}
    mark = "comma" if cells.style.decimal == "," else "point"
    grouped = ", and thousands are grouped" if cells.style.grouped else ""
    notes = [f"The decimal mark is a {mark}{grouped}."]
    for match in matches:
        if match.index in cells.clocks:
            notes.append(judging.counted_from_first(match))
    if cells.crossed_midnight:
        notes.append("The time of day passes midnight and is continued on the next day.")
    return columns, tuple(notes)


def _has_booleans(body: Body) -> bool:
    """Whether a cell might be TRUE or FALSE, which the parser would take for 1 or 0."""
    with opened(body) as file:
        tail = b""
        while block := file.read(BLOCK_BYTES):
            # Looking for one letter first costs next to nothing in a file of numbers.
            text = tail + block
            if any(letter in text for letter in b"uUlL") and _BOOLEAN.search(text):
                return True
            tail = text[-len(b"FALSE") :]
    return False


def _read_plain(
    body: Body, matches: Sequence[Match], decimal: DecimalMark, told: Callable[[float], None]
) -> Cells | None:
    """The columns as plain numbers at once, or None when some cell is something else."""
    if any(match.unit is None for match in matches):
        return None
    none_bad = np.empty(0, dtype=np.int64)
    indices = [match.index for match in matches]
    marks = (decimal,) if decimal else _DECIMAL_MARKS[body.records.delimiter == ";"]
    for mark in marks:
        plain = read_plain_numbers(body, indices, decimal=mark, told=told)
        if plain is not None:
            parsed = {index: Parsed(column, none_bad) for index, column in plain.items()}
            return Cells(parsed, NumberStyle(mark))
    if _has_booleans(body):
        return None
    options = parser_options(body, indices)
    for mark in marks:
        try:
            values, count = _parsed(body, matches, mark, options, told)
        except PARSER_ERRORS:
            continue
        if count == len(body.records):
            parsed = {
                index: Parsed(_kept(body, column), none_bad) for index, column in values.items()
            }
            return Cells(parsed, NumberStyle(mark))
    return None


def _kept(body: Body, values: NDArray[Any]) -> NDArray[Any]:
    """The values of the rows that are not blank lines; the array itself when none is."""
    kept = body.records.cells > 0
    return values if kept.all() else values[kept]


def _parsed(
    body: Body,
    matches: Sequence[Match],
    mark: Literal[".", ","],
    options: Mapping[str, Any],
    told: Callable[[float], None],
) -> tuple[dict[int, FloatArray], int]:
    """Every column as floats, and how many rows the parser saw.

    Portion by portion into arrays of the full length: parsed at once, a long file needs its
    columns twice while the parser joins its own portions.
    """
    import pandas as pd  # noqa: PLC0415, the site starts sooner without it

    values = {match.index: np.empty(len(body.records)) for match in matches}
    count = 0
    with (
        opened(body) as file,
        pd.read_csv(
            file,
            dtype=np.float64,
            na_values=[""],
            decimal=mark,
            chunksize=_ROWS_AT_ONCE,
            low_memory=False,
            **options,
        ) as frames,
    ):
        for frame in frames:
            for index, column in values.items():
                column[count : count + len(frame)] = frame[index].to_numpy()
            count += len(frame)
            told(count / len(body.records))
    return values, count


def _read_as_text(
    body: Body, matches: Sequence[Match], decimal: DecimalMark, told: Callable[[float], None]
) -> Cells:
    """The columns cell by cell: decimal mark and clock stamps first, then the numbers."""
    twice, seen = 2 * max(1, len(body.filled)), 0
    indices = [match.index for match in matches]
    delimiter = body.records.delimiter
    timed = {match.index for match in matches if units.compatible(match.column.unit, "s")}
    evidence = StyleEvidence()
    clocks: set[int] = set()
    for portion in portions(body, indices):
        for index, cells in portion.items():
            if index in timed and (first := next(filter(str.strip, cells), None)) is not None:
                timed.discard(index)  # the first stamp decides for the column
                if is_clock(first):
                    clocks.add(index)
            if delimiter != "," and index not in clocks:
                evidence.add(cells)
        seen += len(next(iter(portion.values()), ()))
        told(seen / twice)
    style = evidence.style(semicolons=delimiter == ";", decimal=decimal)

    stamps = {index: ClockColumn() for index in clocks}
    numbers: dict[int, list[Parsed]] = {match.index: [] for match in matches}
    for portion in portions(body, indices):
        for index, cells in portion.items():
            if index in clocks:
                stamps[index].add(cells)
            else:
                numbers[index].append(parse_numbers(cells, style))
        seen += len(next(iter(portion.values()), ()))
        told(seen / twice)
    parsed = {index: _joined(parts) for index, parts in numbers.items() if index not in clocks}
    parsed |= {index: stamp.finish() for index, stamp in stamps.items()}
    crossed = any(stamp.crossed_midnight for stamp in stamps.values())
    return Cells(parsed, style, frozenset(clocks), crossed, is_open=evidence.is_open)


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
                judging.no_unit(match),
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
    beyond = ~wrong & judging.outside(values, column)
    places = np.flatnonzero(wrong | beyond).tolist()
    filled = body.filled if places else np.empty(0, dtype=np.int64)
    problems.more(len(places[problems.kept :]))
    for place in places[: problems.kept]:
        record = int(filled[place])
        row = body.records.read(record)
        text = row[match.index] if match.index < len(row) else ""
        if wrong[place]:
            detail = _wrong_cell(text, match=match, cells=cells)
        else:
            detail = judging.outside_cell(text, value=float(values[place]), match=match)
        problems.add(Problem(detail, row=int(body.records.lines[record]), column=heading))
    return values


def _wrong_cell(text: str, *, match: Match, cells: Cells) -> str:
    if match.index in cells.clocks and text.strip(BLANKS):
        return judging.no_stamp(text)
    return complaint(text, title=match.title, style=cells.style)
