"""Query parameters, read strictly: a name or value that is not understood is an error.

A list that silently ignored a mistyped filter would answer with everything.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time
from typing import Any

from django.http import QueryDict
from django.utils.dateparse import parse_date, parse_datetime

from catalog.rest.problems import Fault, Invalid

MAX_TEXT = 300


@dataclass(frozen=True, slots=True)
class Reader:
    """How a parameter is read, and what the API's description says of it.

    Called with the text it gives the value, or raises `ValueError` with a sentence for the
    client. `schema` is its JSON Schema, `says` a sentence of what it does.
    """

    read: Callable[[str], Any]
    schema: Mapping[str, Any]
    says: str = ""
    required: bool = False

    def __call__(self, raw: str) -> Any:
        """The value. Raises `ValueError`."""
        return self.read(raw)

    def saying(self, says: str) -> Reader:
        """The same reader with a description for one call."""
        return replace(self, says=says)

    def needed(self) -> Reader:
        """The same reader for a parameter that must be given."""
        return replace(self, required=True)


_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d{1,18}", re.ASCII)


def _text(raw: str) -> str:
    if "\0" in raw:
        raise ValueError("NUL characters are not allowed.")
    if len(raw) > MAX_TEXT:
        raise ValueError(f"Write at most {MAX_TEXT} characters.")
    return raw


text = Reader(
    _text, {"type": "string", "minLength": 1, "maxLength": MAX_TEXT, "pattern": r"^[^\u0000]*$"}
)
"""Any text that a database can hold."""


def number(
    *, minimum: float = -math.inf, maximum: float = math.inf, above: float = -math.inf
) -> Reader:
    """A decimal number from `minimum` to `maximum`, both included, and above `above`."""

    def read(raw: str) -> float:
        value = float(raw) if _NUMBER.fullmatch(raw) else math.nan
        if not math.isfinite(value):
            raise ValueError("Write a decimal number, such as 20 or 0.05.")
        if not minimum <= value <= maximum or value <= above:
            least = f"above {above:g}" if above > minimum else f"from {minimum:g}"
            raise ValueError(f"Write a number {least} to {maximum:g}.")
        return value

    return Reader(read, {"type": "number", **bounds(minimum, maximum, above)})


def bounds(minimum: float, maximum: float, above: float) -> dict[str, float]:
    """The keywords of JSON Schema for a range; those of an open end are left out."""
    ends = {"minimum": minimum, "maximum": maximum, "exclusiveMinimum": above}
    if above > -math.inf:
        del ends["minimum"]
    return {keyword: end for keyword, end in ends.items() if math.isfinite(end)}


def whole(*, minimum: int, maximum: int) -> Reader:
    """A whole number from `minimum` to `maximum`, both included."""

    def read(raw: str) -> int:
        if not _WHOLE.fullmatch(raw) or not minimum <= int(raw) <= maximum:
            raise ValueError(f"Write a whole number from {minimum} to {maximum}.")
        return int(raw)

    return Reader(read, {"type": "integer", "minimum": minimum, "maximum": maximum})


def one_of(*words: str) -> Reader:
    """One of a few words."""

    def read(raw: str) -> str:
        if raw not in words:
            raise ValueError(f"Write one of: {', '.join(words)}.")
        return raw

    return Reader(read, {"type": "string", "enum": list(words)})


# RFC 3339, and without a zone.
_WRITTEN_MOMENT = re.compile(
    r"\d{4}-\d\d-\d\d([Tt ]\d\d:\d\d(:\d\d(\.\d+)?)?([Zz]|[+-]\d\d:\d\d)?)?", re.ASCII
)
_MOMENT = {"anyOf": [{"type": "string", "format": form} for form in ("date", "date-time")]}


def _moment(raw: str, *, within_day: time) -> datetime:
    try:
        if not _WRITTEN_MOMENT.fullmatch(raw):
            raise ValueError
        raw = raw.upper()
        day = parse_date(raw)
        found = datetime.combine(day, within_day, UTC) if day else parse_datetime(raw)
        if found is None:
            raise ValueError
        return (found if found.tzinfo else found.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        raise ValueError(
            "Write a date such as 2026-04-04 or a time such as 2026-04-04T14:30:00Z."
        ) from None


moment = Reader(lambda raw: _moment(raw, within_day=time.max), _MOMENT)
"""A date, meaning the end of that day, or a date with time; UTC unless a zone is given."""

since = Reader(lambda raw: _moment(raw, within_day=time.min), _MOMENT)
"""A date, meaning the beginning of that day, or a date with time; UTC unless a zone is given."""

slug = Reader(
    _text, {"type": "string", "minLength": 1, "maxLength": MAX_TEXT, "pattern": "^[-a-zA-Z0-9_]+$"}
)
"""The name of a thing in its address."""


def _currency(raw: str) -> str:
    if not re.fullmatch(r"[A-Z]{3}", raw):
        raise ValueError("Write three capital letters of ISO 4217, such as EUR.")
    return raw


currency = Reader(_currency, {"type": "string", "pattern": "^[A-Z]{3}$"})
"""A currency's code."""


def read_parameters(query: QueryDict, *, known: Mapping[str, Reader]) -> dict[str, Any]:
    """The parameters that were given, read.

    Raises `Invalid` naming every parameter that is unknown, repeated, blank or unreadable: none
    of them may widen a list without a word.
    """
    given: dict[str, Any] = {}
    faults: list[Fault] = []
    for name, raws in query.lists():
        if name not in known:
            faults.append(Fault(name[:MAX_TEXT], _unknown(known)))
        elif len(raws) > 1:
            faults.append(Fault(name, "Give this parameter once."))
        elif raws[0] == "":
            faults.append(Fault(name, "Give a value, or leave the parameter out."))
        else:
            try:
                given[name] = known[name](raws[0])
            except ValueError as error:
                faults.append(Fault(name, str(error)))
    faults += [
        Fault(name, f"Give this parameter. {reader.says}".strip())
        for name, reader in known.items()
        if reader.required and name not in query
    ]
    if faults:
        raise Invalid(faults)
    return given


def _unknown(known: Mapping[str, Reader]) -> str:
    if not known:
        return "This call has no query parameters."
    return f"There is no parameter of this name. Known here: {', '.join(sorted(known))}."
