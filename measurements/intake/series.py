"""Columns that a file stores by name and type, matched, converted and judged.

What Parquet and NumPy files have in common: no text to take apart, but the same headings,
units and bounds as in a CSV. Rows are counted from 1, the first row of values.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from measurements.intake import judging, units
from measurements.intake.cells import ClockColumn, NumberStyle, complaint
from measurements.intake.column_maps import ColumnMap
from measurements.intake.columns import Column, FloatArray, IntArray, Problem, Table
from measurements.intake.decoding import Refused, printable
from measurements.intake.heading_lines import MAX_COLUMNS
from measurements.intake.headings import Heading, parse_heading, with_unit
from measurements.intake.matches import Match, Matching
from measurements.intake.matching import match_headings
from measurements.intake.problems import Draft
from measurements.intake.records import MAX_ROWS
from measurements.intake.seeing import headings_seen
from measurements.intake.texts import bare_text, judge_texts

MOST_VALUES = 60_000_000
ROWS_AT_ONCE = 1 << 19
ROW_NOTE = "Rows are counted from 1, the first row of values."
_PLAIN = NumberStyle()
_EXACT = 2.0**53


Sort = Literal["number", "clock", "text", "other"]


@dataclass(frozen=True, slots=True)
class Series:
    """A column as the file declares it.

    `sort` is what its values are: numbers, moments in time, text, or anything else, which no
    column of a run can use. `stored_as` is the file's own word for the type, `unit` a unit
    that the file states beside the name.
    """

    heading: str
    sort: Sort
    stored_as: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Raw:
    """The values of a matched column: floats in the file's unit, seconds if `is_clock`, or texts.

    `bad` are the places of texts that were no clock stamps.
    """

    values: FloatArray
    is_clock: bool = False
    texts: list[str] = field(default_factory=list)
    bad: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.int64))


def refuse_size(*, rows: int, columns: int) -> None:
    """Refuse a table without rows, or larger than any log. Raises `Refused`."""
    if columns > MAX_COLUMNS:
        raise Refused(
            f"The file has {columns:,} columns; {MAX_COLUMNS} are taken. Keep those needed."
        )
    if rows > MAX_ROWS:
        raise Refused(f"The file has more than {MAX_ROWS:,} rows. Thin the log or split it.")
    if not rows:
        raise Refused("The file has columns but no rows. Send the whole log.")


def recognised(
    series: Sequence[Series], columns: Sequence[Column], *, maps: Sequence[ColumnMap] = ()
) -> frozenset[str]:
    """The canonical names of the columns that the file has by itself."""
    matching = match_headings(headings_of(series), columns, maps=maps)
    return frozenset(match.name for match in matching.matches)


def headings_of(series: Sequence[Series]) -> list[Heading]:
    return [with_unit(parse_heading(item.heading), item.unit) for item in series]


def match_series(
    series: Sequence[Series], columns: Sequence[Column], draft: Draft
) -> tuple[Match, ...]:
    """The columns that the run uses; none, with problems, when that cannot be settled.

    Raises `Refused` when none is recognised at all.
    """
    headings = headings_of(series)
    clashes = [
        heading
        for heading, item in zip(headings, series, strict=True)
        if heading.unit is not None and item.unit and heading.unit != units.recognise(item.unit)
    ]
    matching = match_headings(headings, columns, maps=draft.maps)
    applied = matching.applied
    if draft.evidence is not None:
        draft.evidence = replace(
            draft.evidence,
            headings=headings_seen(headings, matching),
            map_name=applied.name if applied else "",
        )
    if applied is not None:
        clashes = []  # the map names the unit itself
    if not matching.matches and not matching.problems:
        raise Refused(_nothing_known(headings, columns))
    draft.notes.extend(match.note for match in matching.matches)
    draft.notes.extend(matching.notes)
    _report(matching, clashes, draft)
    for match in matching.matches:
        if fault := _unfit(series[match.index], match):
            draft.problems.add(Problem(fault, column=_column_name(match)))
    return () if draft.problems.count else matching.matches


def _report(matching: Matching, clashes: Sequence[Heading], draft: Draft) -> None:
    for problem in matching.problems:
        draft.problems.add(problem)
    for heading in clashes:
        draft.problems.add(
            Problem(
                f"{heading.spoken} names another unit than the file states beside it. "
                "Correct one of the two.",
                column=printable(heading.text.strip()),
            )
        )


def _nothing_known(headings: Sequence[Heading], columns: Sequence[Column]) -> str:
    wanted = ", ".join(f"‘{column.name}’" for column in columns)
    found = ", ".join(heading.spoken for heading in headings[:30]) or "none"
    return (
        f"No column of the file is known to this kind of run, which reads {wanted}. "
        f"Columns found: {found}. Give them names such as these."
    )


def _column_name(match: Match) -> str:
    return printable(match.heading.text.strip())


def _unfit(series: Series, match: Match) -> str:
    """Why the type of the values cannot be used for the column, "" when it can."""
    stored = f"{match.heading.spoken} is stored as {printable(series.stored_as, limit=80)}"
    if match.column.is_text:
        return "" if series.sort == "text" else f"{stored}; {match.title} must be stored as text."
    timed = units.compatible(match.column.unit, "s")
    if series.sort == "number":
        return judging.no_unit(match) if match.unit is None else ""
    if timed and series.sort in ("clock", "text"):
        return ""
    also = " in a unit of time, or date and time" if timed else ""
    return f"{stored}; {match.title} must be stored as numbers{also}. Store it as 64-bit floats."


def refuse_amount(*, rows: int, matches: Sequence[Match]) -> None:
    """Refuse more values than memory is set aside for. Raises `Refused`."""
    if rows * len(matches) > MOST_VALUES:
        raise Refused(
            f"{len(matches)} columns of {rows:,} rows are more than {MOST_VALUES:,} values. Thin "
            "the log, or leave out columns."
        )


def seconds_of(stamps: IntArray, known: np.ndarray, *, tick_s: float) -> FloatArray:
    """Seconds since the first known stamp, counted in ticks of `tick_s`; NaN where unknown."""
    seconds = np.full(len(stamps), np.nan)
    places = np.flatnonzero(known)
    if len(places):
        first = stamps[places[0]]
        rough = stamps.astype(np.float64) - float(first)
        # The difference of integers keeps every tick, but wraps around where stamps are absurd.
        exact = (stamps - first).astype(np.float64)
        ticks = np.where(np.abs(rough) < _EXACT, exact, rough)
        seconds[places] = ticks[places] * tick_s
    return seconds


def raw_of_texts(texts: list[str], match: Match) -> Raw:
    """Texts as they are for a column of text, as clock stamps for one of time."""
    if match.column.is_text:
        return Raw(np.empty(0), texts=[bare_text(text) for text in texts])
    clock = ClockColumn()
    for start in range(0, len(texts), ROWS_AT_ONCE):
        clock.add(texts[start : start + ROWS_AT_ONCE])
    parsed = clock.finish()
    return Raw(parsed.values, is_clock=True, texts=texts, bad=parsed.bad)


def build_table(
    matches: Sequence[Match], raws: Mapping[int, Raw], *, rows: int, draft: Draft
) -> Table | None:
    """The table in canonical units, None with problems. `raws` holds the matches by index."""
    numbers = np.arange(1, rows + 1, dtype=np.int64)
    columns: dict[str, FloatArray] = {}
    texts: dict[str, tuple[str, ...]] = {}
    for match in matches:
        raw = raws[match.index]
        if match.column.is_text:
            judge_texts(raw.texts, match, numbers, draft.problems)
            texts[match.name] = tuple(raw.texts)
        else:
            columns[match.name] = _judged(raw, match, draft)
            if raw.is_clock:
                draft.notes.append(judging.counted_from_first(match))
    return None if draft.problems.count else Table(columns, numbers, texts)


def _judged(raw: Raw, match: Match, draft: Draft) -> FloatArray:
    """A column in its canonical unit, its bad values added to the problems."""
    column = match.column
    with np.errstate(all="ignore"):
        values = units.convert(
            raw.values,
            from_unit="s" if raw.is_clock else match.unit or "",
            to_unit=column.unit,
        )
    wrong = np.isinf(values)
    wrong[raw.bad] = True
    if column.required:
        wrong |= np.isnan(values)
    beyond = ~wrong & judging.outside(values, column)
    places = np.flatnonzero(wrong | beyond)
    draft.problems.more(len(places[draft.problems.kept :]))
    for place in places[: draft.problems.kept]:
        number = raw.values[place]
        text = raw.texts[place] if raw.texts else "" if np.isnan(number) else repr(float(number))
        if not wrong[place]:
            detail = judging.outside_cell(text, value=float(values[place]), match=match)
        elif text.strip() and raw.is_clock:
            detail = judging.no_stamp(text)
        else:
            detail = complaint(text, title=match.title, style=_PLAIN)
        draft.problems.add(Problem(detail, row=int(place) + 1, column=_column_name(match)))
    return values
