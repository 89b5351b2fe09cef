"""From record batches to the bytes of CSV, NDJSON and Parquet, piece by piece.

All numbers are written with the fewest digits that give the same float when read back. Columns
are turned into bytes as a whole: a row at a time would take longer than the database does.

A piece that fails raises out of the generator. The server then drops the connection without
the chunk that ends a body, so over HTTP/1.1 and later no client takes the part for the whole;
a Parquet file lacks its end in any case.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import orjson
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv, parquet

from comparisons.bulk.beside import beside_reading
from comparisons.bulk.columns import Column, batch_schema, file_schema

Batches = Iterable[pa.RecordBatch]

# Enough rows for columns to compress well, few enough to hold: some 10 MB.
ROW_GROUP = 32_768

# A spreadsheet takes a text cell that starts so for a formula (ASVS 5.0, 1.2.10).
FORMULA_STARTS = "^[=+\\-@\t\r]"
_ESCAPED = re.compile(rb'["\\\x00-\x1f]')  # in JSON strings: RFC 8259, section 7
_CSV_OPTIONS = csv.WriteOptions(include_header=False, batch_size=8192, eol="\r\n")


def csv_pieces(columns: Sequence[Column], batches: Batches) -> Iterator[bytes]:
    """CSV after RFC 4180 in UTF-8: a header, CRLF, text in quotation marks, nothing for null.

    Free text that a spreadsheet would take for a formula has an apostrophe before it.
    """

    def rows(batch: pa.RecordBatch) -> bytes:
        sink = pa.BufferOutputStream()
        csv.write_csv(_harmless(columns, batch), sink, _CSV_OPTIONS)
        return bytes(sink.getvalue())

    yield (",".join(column.name for column in columns) + "\r\n").encode("ascii")
    yield from beside_reading(rows, batches)


def _harmless(columns: Sequence[Column], batch: pa.RecordBatch) -> pa.RecordBatch:
    for position, column in enumerate(columns):
        if not column.free or batch.column(position).null_count == len(batch):
            continue
        texts = batch.column(position)
        runs = pc.match_substring_regex(texts, FORMULA_STARTS)
        if pc.any(runs).as_py():
            quoted = pc.binary_join_element_wise("'", texts, "")
            batch = batch.set_column(position, column.name, pc.if_else(runs, quoted, texts))
    return batch


def ndjson_pieces(columns: Sequence[Column], batches: Batches) -> Iterator[bytes]:
    """One JSON object a line, with every column in every line; UTF-8."""

    def lines(batch: pa.RecordBatch) -> bytes:
        found = pc.binary_join_element_wise(*_line_parts(columns, batch), "")
        size = pc.sum(pc.binary_length(found)).as_py() or 0
        # The lines of an Arrow array lie one behind the other: that is the file already.
        return bytes(found.buffers()[2].slice(0, size)) if size else b""

    return beside_reading(lines, batches)


def _line_parts(columns: Sequence[Column], batch: pa.RecordBatch) -> list[str | pa.Array]:
    """What lines consist of: text that is the same in all, and columns; as few as can be."""
    parts: list[str | pa.Array] = []
    same = "{"
    for number, column in enumerate(columns):
        values = batch.column(number)
        same += f'{"," if number else ""}"{column.name}":'
        if values.null_count == len(values):
            same += "null"
        elif pa.types.is_string(values.type) and not values.null_count and _is_plain(values):
            parts += [f'{same}"', values]
            same = '"'
        else:
            parts += [same, _json(values)]
            same = ""
    # Lines of nothing but nulls would have no column to be as many as.
    return [*parts, pa.repeat(same + "}\n", len(batch))]


def _json(values: pa.Array) -> pa.Array:
    """Each value of a column as JSON text."""
    if pa.types.is_string(values.type):
        return pc.fill_null(_json_strings(values), "null")
    if pa.types.is_floating(values.type):
        # JSON has no infinities.
        values = pc.if_else(pc.is_finite(values), values, pa.scalar(None, values.type))
        return pc.fill_null(_json_numbers(values), "null")
    return pc.fill_null(pc.cast(values, pa.string()), "null")


def _json_numbers(values: pa.Array) -> pa.Array:
    """Whole ones with a point, for many readers take 5 for an integer and -0 for 0."""
    texts = pc.cast(values, pa.string())
    whole = pc.equal(values, pc.floor(values))
    if not pc.any(whole).as_py():
        return texts
    bare = pc.and_(whole, pc.less(pc.find_substring(texts, "e"), 0))
    return pc.if_else(bare, pc.binary_join_element_wise(texts, ".0", ""), texts)


def _json_strings(texts: pa.Array) -> pa.Array:
    if _is_plain(texts):
        return pc.binary_join_element_wise('"', texts, '"', "")
    return pa.array(
        [None if text is None else orjson.dumps(text).decode() for text in texts.to_pylist()],
        pa.string(),
    )


def _is_plain(texts: pa.Array) -> bool:
    """Whether the texts of a column stand in JSON as they are."""
    _, offsets, content = texts.buffers()
    if content is None:
        return True
    ends = np.frombuffer(offsets, np.int32)[texts.offset : texts.offset + len(texts) + 1]
    return _ESCAPED.search(memoryview(content)[ends[0] : ends[-1]]) is None


def parquet_pieces(columns: Sequence[Column], batches: Batches) -> Iterator[bytes]:
    """Parquet with Zstandard, a row group at a time; units and descriptions in its schema."""
    schema = file_schema(columns)
    outbox = _Outbox()
    with parquet.ParquetWriter(
        pa.PythonFile(outbox, mode="w"), schema, compression="zstd"
    ) as writer:
        yield outbox.emptied()
        for group in _grouped(batches, rows=ROW_GROUP):
            table = pa.Table.from_batches(group, batch_schema(columns))
            writer.write_table(table.cast(schema))
            yield outbox.emptied()
    yield outbox.emptied()


def _grouped(batches: Batches, *, rows: int) -> Iterator[list[pa.RecordBatch]]:
    """Successive batches until they have at least so many rows together."""
    group: list[pa.RecordBatch] = []
    for batch in batches:
        group.append(batch)
        if sum(len(each) for each in group) >= rows:
            yield group
            group = []
    if group:
        yield group


class _Outbox:
    """A file that only grows, of which what was written can be taken away."""

    closed = False

    def __init__(self) -> None:
        self._pieces: list[bytes] = []
        self._size = 0

    def write(self, content: object) -> int:
        """Take in bytes."""
        piece = bytes(content)  # type: ignore[call-overload]
        self._pieces.append(piece)
        self._size += len(piece)
        return len(piece)

    def tell(self) -> int:
        """How many bytes were written, taken away or not."""
        return self._size

    def flush(self) -> None:
        """Nothing waits behind this file."""

    def close(self) -> None:
        """What is not yet taken away stays."""
        self.closed = True

    def emptied(self) -> bytes:
        """What was written since the last time."""
        pieces, self._pieces = self._pieces, []
        return b"".join(pieces)


@dataclass(frozen=True, slots=True)
class Format:
    """A form in which a table is downloaded; `is_compressed` needs no gzip around it."""

    name: str
    media_type: str
    pieces: Callable[[Sequence[Column], Batches], Iterator[bytes]]
    is_compressed: bool = False

    @property
    def bare_type(self) -> str:
        """The media type without its parameters."""
        return self.media_type.partition(";")[0]


FORMATS = {
    form.name: form
    for form in (
        # RFC 7111 and RFC 4180 name the parameters of text/csv.
        Format("csv", "text/csv; charset=utf-8; header=present", csv_pieces),
        Format("ndjson", "application/x-ndjson", ndjson_pieces),
        Format("parquet", "application/vnd.apache.parquet", parquet_pieces, is_compressed=True),
    )
}
