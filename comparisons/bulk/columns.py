"""Columns of a table for download: name, type, unit and what they mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import pyarrow as pa

Type = Literal["text", "number", "whole", "yes-no", "time"]
TYPES: tuple[Type, ...] = get_args(Type)

# A time is text until a format has a type for it: RFC 3339, in UTC, with microseconds.
_READ_AS: dict[str, pa.DataType] = {
    "text": pa.string(),
    "number": pa.float64(),
    "whole": pa.int64(),
    "yes-no": pa.bool_(),
    "time": pa.string(),
}
TIME = pa.timestamp("us", tz="UTC")


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `unit` is that of every number in it, "" where another column names it.

    The text of a `free` column was written by people: nobody knows how it begins.
    """

    name: str
    type: Type
    description: str
    unit: str = ""
    free: bool = False

    @property
    def read_as(self) -> pa.DataType:
        """Arrow type of the column in record batches."""
        return _READ_AS[self.type]

    def as_json(self) -> dict[str, str | None]:
        """The column as the list of tables describes it."""
        return {
            "name": self.name,
            "type": self.type,
            "unit": self.unit or None,
            "description": self.description,
        }


def batch_schema(columns: Sequence[Column]) -> pa.Schema:
    """Schema of the record batches that a table is read as."""
    return pa.schema([(column.name, column.read_as) for column in columns])


def file_schema(columns: Sequence[Column]) -> pa.Schema:
    """Schema of a typed file: times are times; units and descriptions go with the columns."""
    return pa.schema(
        pa.field(
            column.name,
            TIME if column.type == "time" else column.read_as,
            metadata={
                "description": column.description,
                **({"unit": column.unit} if column.unit else {}),
            },
        )
        for column in columns
    )
