"""Cells as text: numbers in either decimal style, and clock stamps.

Strict on purpose. What the language's own parser would accept (digits of other scripts,
underscores, "inf", "nan") is no measurement and is named as a problem.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import FloatArray, IntArray
from measurements.intake.decoding import printable
from measurements.intake.evidence import DecimalMark

BLANKS = " \t\r\n\v\f"

_EXPONENT = r"(?:[eE][+-]?[0-9]+)?"
_NUMBERS = {
    mark: re.compile(
        rf"[+-]?(?:[0-9]+(?:{re.escape(mark)}[0-9]*)?|{re.escape(mark)}[0-9]+){_EXPONENT}"
    )
    for mark in ".,"
}
_GROUPED = {
    mark: re.compile(
        rf"[+-]?[1-9][0-9]{{0,2}}(?:{re.escape(group)}[0-9]{{3}})+(?:{re.escape(mark)}[0-9]*)?"
    )
    for mark, group in ((".", ","), (",", "."))
}
# 1,234 or 1.234: a decimal fraction or one thousand two hundred and thirty-four.
_EITHER = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")

# 1 234,5 or 1'234.5: blanks (ISO 80000-1, 7.3.1; from memory) and apostrophes group and are no
# decimal mark, so that nothing is left in doubt.
_PARTED = re.compile(
    r"[+-]?[1-9][0-9]{0,2}(?P<part>[ \u00a0\u2009\u202f'’])[0-9]{3}"
    r"(?:(?P=part)[0-9]{3})*(?:[.,][0-9]*)?"
)

_INFINITE = re.compile(r"[+-]?inf(?:inity)?", re.IGNORECASE)
_MISSING = {"", "na", "nan", "n/a", "null", "none", "nil"}

_DATE_STAMP = re.compile(
    r"(?P<base>[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}:[0-9]{2})"
    r"(?:[.,](?P<fraction>[0-9]+))?(?P<zone>Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_TIME_STAMP = re.compile(
    r"(?P<hours>[0-9]{1,4}):(?P<minutes>[0-5][0-9]):(?P<seconds>[0-5][0-9])"
    r"(?:[.,](?P<fraction>[0-9]+))?"
)
_HALF_DAY = timedelta(hours=12).total_seconds()
_DAY = timedelta(days=1).total_seconds()


@dataclass(frozen=True, slots=True)
class NumberStyle:
    """How numbers are written: the decimal mark, and whether thousands are grouped."""

    decimal: Literal[".", ","] = "."
    grouped: bool = False


@dataclass(frozen=True, slots=True)
class Parsed:
    """Cells as numbers: NaN where blank or bad, `bad` the places of the bad ones."""

    values: FloatArray
    bad: IntArray


class StyleEvidence:
    """What the cells of a whole file say about their decimal mark."""

    def __init__(self) -> None:
        self._certain = {".": False, ",": False}
        self._grouped = {".": False, ",": False}
        self._either = {".": False, ",": False}

    def add(self, cells: Iterable[str]) -> None:
        """Look at more cells."""
        for cell in cells:
            text = _joined_thousands(cell.strip(BLANKS))
            if not ("." in text or "," in text):
                continue
            if _EITHER.fullmatch(text):
                self._either["," if "," in text else "."] = True
                continue
            for mark in ".,":
                if _GROUPED[mark].fullmatch(text):
                    self._certain[mark] = self._grouped[mark] = True
                elif mark in text and _NUMBERS[mark].fullmatch(text):
                    self._certain[mark] = True

    @property
    def is_open(self) -> bool:
        """Whether there are numbers with a mark, each of which could be read in two ways."""
        either = self._either["."] or self._either[","]
        return either and not (self._certain["."] or self._certain[","])

    def style(self, *, semicolons: bool, decimal: DecimalMark = "") -> NumberStyle:
        """The style that most of the file's numbers can only be in, or that of a `decimal` mark.

        A cell that fits another style, or two styles, is no number in the one returned, so
        that it becomes a problem and is never guessed. Without any certain cell the mark is
        a point, or a comma where `semicolons` separate the columns, which is customary only
        where the decimal mark is a comma (common practice).
        """
        if decimal:
            other = "," if decimal == "." else "."
            return NumberStyle(decimal, grouped=self._grouped[decimal] or self._either[other])
        mark: Literal[".", ","] = "."
        if not self._certain["."]:
            customary = semicolons and self._either[","] and not self._either["."]
            mark = "," if self._certain[","] or customary else "."
        return NumberStyle(mark, grouped=self._grouped[mark])


def _joined_thousands(text: str) -> str:
    """The text without the blanks or apostrophes that part its thousands."""
    found = _PARTED.fullmatch(text)
    return text.replace(found["part"], "") if found else text


def parse_number(cell: str, style: NumberStyle) -> float | None:
    """The number in a cell, or None when it holds none. May be infinite."""
    text = _joined_thousands(cell.strip(BLANKS))
    if style.grouped and _GROUPED[style.decimal].fullmatch(text):
        text = text.replace("," if style.decimal == "." else ".", "")
    if not _NUMBERS[style.decimal].fullmatch(text):
        return None
    return float(text.replace(",", "."))


def looks_numeric(cell: str) -> bool:
    """Whether the cell is a number in any style."""
    text = _joined_thousands(cell.strip(BLANKS))
    return any(pattern.fullmatch(text) for pattern in (*_NUMBERS.values(), *_GROUPED.values()))


def parse_numbers(cells: Sequence[str], style: NumberStyle) -> Parsed:
    """A column of cells as numbers."""
    values = np.full(len(cells), np.nan)
    bad = []
    for index, cell in enumerate(cells):
        number = parse_number(cell, style)
        if number is not None:
            values[index] = number
        elif cell.strip(BLANKS):
            bad.append(index)
    return Parsed(values, np.array(bad, dtype=np.int64))


def is_clock(cell: str) -> bool:
    """Whether the cell is a date with time (ISO 8601) or a time of day with seconds."""
    text = cell.strip(BLANKS)
    return bool(_DATE_STAMP.fullmatch(text) or _TIME_STAMP.fullmatch(text))


class ClockColumn:
    """Clock stamps, collected portion by portion, as seconds since the first.

    All stamps must be of the kind of the first: date and time with zone, without zone, or
    time alone. Whole seconds and fraction are kept apart until the end, so that a date
    costs no digits of the fraction.
    """

    def __init__(self) -> None:
        self._whole: list[NDArray[np.float64]] = []
        self._fraction: list[NDArray[np.float64]] = []
        self._bad: list[IntArray] = []
        self._kind = ""
        self._count = 0
        self.crossed_midnight = False

    def add(self, cells: Sequence[str]) -> None:
        """Take more cells; a blank one is NaN, an unreadable one is bad."""
        whole = np.full(len(cells), np.nan)
        fraction = np.zeros(len(cells))
        bad: list[int] = []
        dated: dict[int, str] = {}
        for index, cell in enumerate(cells):
            text = cell.strip(BLANKS)
            if not text:
                continue
            found = _TIME_STAMP.fullmatch(text) or _DATE_STAMP.fullmatch(text)
            if found is None:
                bad.append(index)
                continue
            parts = found.groupdict()
            kind = "time" if "base" not in parts else "zoned" if parts["zone"] else "local"
            self._kind = self._kind or kind
            if kind != self._kind:
                bad.append(index)
                continue
            fraction[index] = float(f"0.{parts['fraction'] or 0}")
            if kind == "time":
                whole[index] = timedelta(
                    hours=int(parts["hours"]),
                    minutes=int(parts["minutes"]),
                    seconds=int(parts["seconds"]),
                ).total_seconds()
            else:
                dated[index] = parts["base"] + (parts["zone"] or "")
        for index, seconds in zip(dated, _epoch_seconds(list(dated.values())), strict=True):
            whole[index] = seconds
            if np.isnan(seconds):
                bad.append(index)
        self._whole.append(whole)
        self._fraction.append(fraction)
        self._bad.append(np.array(sorted(bad), dtype=np.int64) + self._count)
        self._count += len(cells)

    def finish(self) -> Parsed:
        """Seconds since the first stamp, a time of day continued over midnight."""
        whole = np.concatenate([np.empty(0), *self._whole])
        fraction = np.concatenate([np.empty(0), *self._fraction])
        bad = np.concatenate([np.empty(0, dtype=np.int64), *self._bad])
        known = np.flatnonzero(~np.isnan(whole))
        if len(known):
            if self._kind == "time" and np.all(whole[known] < _DAY):
                days = np.cumsum(np.diff(whole[known], prepend=whole[known[0]]) < -_HALF_DAY)
                self.crossed_midnight = bool(days[-1])
                whole[known] += days * _DAY
            whole -= whole[known[0]]
            fraction -= fraction[known[0]]
        return Parsed(whole + fraction, bad)


def _epoch_seconds(stamps: list[str]) -> FloatArray:
    import pandas as pd  # noqa: PLC0415, the site starts sooner without it

    parsed = pd.to_datetime(
        pd.Series(stamps, dtype=object), utc=True, errors="coerce", format="ISO8601"
    )
    moments = parsed.to_numpy(dtype="datetime64[s]")
    return np.where(np.isnat(moments), np.nan, moments.astype(np.int64).astype(np.float64))


def complaint(cell: str, *, title: str, style: NumberStyle) -> str:
    """What is wrong with a cell of the column called `title`, and what to do about it.

    For a cell that `parse_number` refuses, or whose number is beyond the range of floats.
    """
    text = cell.strip(BLANKS)
    if not text:
        return f"The cell is blank, but every row needs {title}. Fill it in or remove the row."
    return f"‘{printable(text)}’ {_fault(text, title=title, style=style)}"


def _fault(text: str, *, title: str, style: NumberStyle) -> str:
    mark = style.decimal
    foreign_digits = any(sign.isdigit() and not sign.isascii() for sign in text)
    faults = (
        (
            parse_number(text, style) is not None,
            "is too large for any measurement. Correct it.",
        ),
        (
            _INFINITE.fullmatch(text) is not None,
            "is not a measured value (an overrange reading?). Remove the row.",
        ),
        (
            text.casefold().strip("#-+./ ") in _MISSING,
            f"stands for a missing value, but {title} must be a number. Leave an optional cell "
            "blank; remove a row without reading.",
        ),
        (foreign_digits, "is not written in the digits 0 to 9. Write it in them."),
        (is_clock(text), f"is a clock stamp, but {title} must be a number here."),
        (
            _EITHER.fullmatch(text) is not None,
            f"could be {text.replace(',', '.')} or {re.sub('[.,]', '', text)}. Write it with the "
            f"decimal mark ‘{mark}’ and without thousands separators.",
        ),
        (
            looks_numeric(text),
            "is not written like the other numbers of the file. Write it with the decimal mark "
            f"‘{mark}’ and without thousands separators.",
        ),
    )
    for applies, words in faults:
        if applies:
            return words
    return f"is not a number. Write {title} as a plain number such as 0{mark}125."
