"""Columns of a package's tables, and their cells as text: there and back without loss."""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Literal

from comparisons.actions import canonical_json
from comparisons.packages.ucum import quantity_of, ucum_of

# Types of Table Schema v2.
Type = Literal["string", "number", "integer", "boolean", "date", "datetime", "object", "array"]

# From here on every float is whole, and a database may give it back as a whole number.
_WHOLE_FROM = 10**16
_NUMBERS = frozenset("+-.0123456789eE")


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, its type, what it says, and the unit of its numbers.

    `unit` is written as pages write it, None where there is none or where a column beside it
    names it; the package gives its UCUM code. `format` narrows a string, such as to ``uuid``.
    """

    name: str
    type: Type
    description: str
    required: bool = False
    unit: str | None = None
    format: str = ""

    def as_field(self) -> dict[str, Any]:
        """The field of a Table Schema v2, with our `unit` (UCUM) and `quantityKind`."""
        field: dict[str, Any] = {
            "name": self.name,
            "type": self.type,
            "description": self.description,
        }
        if self.format:
            field["format"] = self.format
        if self.unit is not None:
            field |= {"unit": ucum_of(self.unit), "quantityKind": quantity_of(self.unit)}
        if self.required:
            field["constraints"] = {"required": True}
        return field


def text_of(column: Column, value: Any) -> str:
    """A value as the text of its cell; empty for None.

    Floats are written by their shortest text that reads back the same (IEEE 754), moments after
    RFC 3339 in UTC with microseconds, JSON in one spelling.
    """
    return "" if value is None else _WRITE.get(column.type, str)(value)


def _number_text(value: Any) -> str:
    return f"{value:f}" if isinstance(value, Decimal) else repr(float(value))


def _moment_text(value: datetime) -> str:
    return value.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def _json_text(value: Any) -> str:
    return canonical_json(steady(value))


def steady(value: Any) -> Any:
    """JSON whose numbers come back from every database as they went in.

    A database that keeps decimal numbers knows no negative zero, and gives a large float back as
    a whole number.
    """
    if isinstance(value, float):
        return value + 0.0
    if isinstance(value, list):
        return [steady(item) for item in value]
    if isinstance(value, Mapping):
        return {name: steady(item) for name, item in value.items()}
    if isinstance(value, int) and abs(value) >= _WHOLE_FROM:
        return float(value)
    return value


def value_of(column: Column, text: str) -> Any:
    """The value of a cell, None for an empty one. Raises `ValueError` with a sentence."""
    if text == "":
        if column.required:
            raise ValueError("This cell must not be empty.")
        return None
    try:
        return _READ[column.type](text) if column.format != "uuid" else uuid.UUID(text)
    except (ValueError, RecursionError, OverflowError) as error:
        wanted = column.format or column.type
        raise ValueError(f"“{text[:40]}” is no {wanted}.") from error


def _number(text: str) -> float:
    if not set(text) <= _NUMBERS:
        raise ValueError
    number = float(text)
    if not math.isfinite(number):
        raise ValueError
    return number


def _integer(text: str) -> int:
    if not text.removeprefix("-").isdecimal() or not text.isascii() or len(text) > 19:
        raise ValueError
    return int(text)


def _boolean(text: str) -> bool:
    return {"true": True, "false": False}[text] if text in ("true", "false") else _refuse()


def _refuse() -> Any:
    raise ValueError


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo is not None else _refuse()


def _json_of(kind: type) -> Any:
    def read(text: str) -> Any:
        value = json.loads(text, parse_constant=lambda _: _refuse())
        return value if isinstance(value, kind) else _refuse()

    return read


_WRITE: Mapping[Type, Callable[[Any], str]] = {
    "number": _number_text,
    "boolean": lambda value: "true" if value else "false",
    "date": date.isoformat,
    "datetime": _moment_text,
    "object": _json_text,
    "array": _json_text,
}
_READ: Mapping[Type, Callable[[str], Any]] = {
    "string": str,
    "number": _number,
    "integer": _integer,
    "boolean": _boolean,
    "date": date.fromisoformat,
    "datetime": _moment,
    "object": _json_of(dict),
    "array": _json_of(list),
}
