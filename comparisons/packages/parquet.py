"""Tables of a package as Parquet, with units and kinds of quantity in the fields' metadata."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import IO, Any

import pyarrow as pa
import pyarrow.parquet as pq

from comparisons.packages.columns import Column, Type, text_of
from comparisons.packages.tables import Cells, Table

MEDIA_TYPE = "application/vnd.apache.parquet"
_AT_ONCE = 5000
_TYPES: Mapping[Type, Any] = {
    "number": pa.float64(),
    "integer": pa.int64(),
    "boolean": pa.bool_(),
    "date": pa.date32(),
    "datetime": pa.timestamp("us", tz="UTC"),
}


def write_parquet(table: Table, rows: Iterable[Cells], sink: IO[bytes]) -> None:
    """Write the rows into `sink`, some thousand at a time; JSON and ids become text."""
    schema = pa.schema([_field(column) for column in table.columns])
    with pq.ParquetWriter(sink, schema, compression="zstd") as writer:
        for portion in _portions(rows):
            columns = zip(table.columns, zip(*portion, strict=True), strict=True)
            arrays = [
                pa.array([_plain(column, cell) for cell in cells], type=schema.field(place).type)
                for place, (column, cells) in enumerate(columns)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))


def _portions(rows: Iterable[Cells]) -> Iterator[list[Cells]]:
    remaining = iter(rows)
    while portion := list(islice(remaining, _AT_ONCE)):
        yield portion


def _field(column: Column) -> Any:
    told = column.as_field()
    names = ("description", "unit", "quantityKind")
    metadata = {name: told[name] for name in names if name in told}
    kind = _TYPES.get(column.type, pa.string())
    return pa.field(column.name, kind, nullable=not column.required, metadata=metadata)


def _plain(column: Column, value: Any) -> Any:
    if value is None or value == "":
        return None
    if column.type in ("string", "object", "array"):
        return text_of(column, value)
    return float(value) if column.type == "number" else value
