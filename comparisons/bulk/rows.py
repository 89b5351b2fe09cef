"""Rows of a query as record batches, with as little Python for each row as can be.

Times and ids are put into words by the database: a converter for one column of a query makes
the framework handle every row by itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from contextlib import closing
from itertools import islice
from typing import Any

import pyarrow as pa
from django.core.exceptions import EmptyResultSet
from django.db import connections
from django.db.models import Func, QuerySet, TextField
from django.db.models import Value as Constant
from django.db.models.functions import NullIf
from pyarrow import csv

from comparisons.bulk.columns import Column, batch_schema

FETCHED = 8_000
"""Rows that a cursor is asked for at once."""

ROWS = 2_000
"""Rows of a record batch; as text some 400 to 800 KiB."""


class AsStored(Func):
    """An expression as the driver gives it, without a converter."""

    template = "%(expressions)s"
    arity = 1

    def get_db_converters(self, connection: Any) -> list[Any]:
        """None."""
        return []


class TimeText(Func):
    """A moment after RFC 3339, in UTC, with microseconds: ``2026-11-24T10:00:00.000000Z``."""

    arity = 1
    output_field = TextField()

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """Kept as text, without the zone, and without microseconds where there are none."""
        template = "replace(substr(%(expressions)s || '.000000', 1, 26), ' ', 'T') || 'Z'"
        return self.as_sql(compiler, connection, template=template, **context)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """Kept as a moment."""
        template = (
            "to_char(%(expressions)s AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS.US\"Z\"')"
        )
        return self.as_sql(compiler, connection, template=template, **context)


class UuidText(Func):
    """An id as its 36 characters (RFC 9562, section 4)."""

    arity = 1
    output_field = TextField()

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """Kept as 32 hexadecimal digits."""
        parts = ((1, 8), (9, 4), (13, 4), (17, 4), (21, 12))
        template = " || '-' || ".join(
            f"substr(%(expressions)s, {start}, {length})" for start, length in parts
        )
        return self.as_sql(compiler, connection, template=template, **context)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """Kept as an id."""
        return self.as_sql(compiler, connection, template="(%(expressions)s)::text", **context)


def or_null(name: str) -> NullIf:
    """A text column, null where it is blank."""
    return NullIf(name, Constant(""), output_field=TextField())


def record_batches(rows: QuerySet[Any], *, read: Mapping[Column, Any]) -> Iterator[pa.RecordBatch]:
    """The rows of a query, `read` naming the expression of each column, in one query.

    Not more than `FETCHED` rows are held.
    """
    # Names that no field of a model has, so that an expression may be called like one.
    named = {f"column_{number}": expression for number, expression in enumerate(read.values())}
    found = rows.annotate(**named).values_list(*named)
    connection = connections[found.db]
    if connection.vendor == "postgresql" and not connection.in_atomic_block:
        return _copied(found, read)
    return _fetched(found, read)


def _fetched(rows: QuerySet[Any], read: Collection[Column]) -> Iterator[pa.RecordBatch]:
    """By way of the driver's rows."""
    schema = batch_schema([*read])
    found = rows.iterator(chunk_size=FETCHED)
    while block := list(islice(found, ROWS)):
        arrays = [
            # SQLite has no truth values, only 0 and 1.
            pa.array(map(bool, values) if column.type == "yes-no" else values, column.read_as)
            for values, column in zip(zip(*block, strict=True), read, strict=True)
        ]
        yield pa.RecordBatch.from_arrays(arrays, schema=schema)


def _copied(rows: QuerySet[Any], read: Collection[Column]) -> Iterator[pa.RecordBatch]:
    """By PostgreSQL's COPY: no row becomes an object, and the server goes on meanwhile.

    Until it ends, its connection can do nothing else, and whoever tries waits for ever: it has
    one of its own. That one would not see what a transaction has written and not committed.
    """
    connection: Any = connections[rows.db]
    try:
        sql, parameters = rows.query.get_compiler(rows.db).as_sql()
    except EmptyResultSet:
        return
    copy = f"COPY ({connection.ops.compose_sql(sql, parameters)}) TO STDOUT (FORMAT csv)"
    with (
        closing(connection.copy()) as own,
        own.wrap_database_errors,
        own.cursor() as cursor,
        cursor.copy(copy) as lines,
    ):
        # The client library hands out one row at a time, whatever line breaks are in it
        # (PostgreSQL, libpq, PQgetCopyData).
        each = iter(lines)
        while block := b"".join(islice(each, ROWS)):
            yield _parsed(block, read)


def _parsed(block: bytes, read: Collection[Column]) -> pa.RecordBatch:
    """Whole lines as COPY writes them: null is nothing, an empty text a pair of quotation marks."""
    table = csv.read_csv(
        pa.BufferReader(block),
        csv.ReadOptions(
            use_threads=False,
            block_size=len(block) + 1,
            column_names=[column.name for column in read],
        ),
        csv.ParseOptions(newlines_in_values=True),
        csv.ConvertOptions(
            column_types={column.name: column.read_as for column in read},
            null_values=[""],
            strings_can_be_null=True,
            quoted_strings_can_be_null=False,
            true_values=["t", "1"],
            false_values=["f", "0"],
        ),
    )
    return table.combine_chunks().to_batches()[0]


def pieces_of(batch: pa.RecordBatch) -> Iterator[pa.RecordBatch]:
    """A long batch as several, so that the pieces of the stream stay small."""
    for start in range(0, len(batch), ROWS):
        yield batch.slice(start, ROWS)
