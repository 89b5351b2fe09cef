"""CSV, NDJSON and Parquet against the readers of others, number by number and bit by bit.

Sources: RFC 4180 through Python's `csv`, RFC 8259 through Python's `json`, Apache Parquet through
its own reference reader.
"""

from __future__ import annotations

import csv
import io
import json
import math
import struct
from collections.abc import Iterator
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pyarrow import parquet

from comparisons.bulk import formats
from comparisons.bulk.columns import Column, batch_schema
from comparisons.bulk.formats import FORMATS

COLUMNS = (
    Column("text", "text", "any text"),
    Column("number", "number", "any number", unit="W"),
    Column("whole", "whole", "a count"),
    Column("so", "yes-no", "a fact"),
    Column("at", "time", "a moment"),
    Column("said", "text", "what somebody wrote", free=True),
)
# What databases can hold: no NUL and no lone surrogates.
TEXTS = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), min_size=1)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
ROWS = st.lists(
    st.tuples(
        st.none() | TEXTS,
        st.none() | NUMBERS,
        st.none() | st.integers(-(2**63), 2**63 - 1),
        st.none() | st.booleans(),
        st.none() | st.datetimes().map(lambda at: f"{at.isoformat(timespec='microseconds'):0>26}Z"),
        st.none() | TEXTS,
    ),
    max_size=8,
)


def batches(rows: list[tuple[Any, ...]], *, size: int = 3) -> Iterator[pa.RecordBatch]:
    """The rows, a few at a time."""
    for start in range(0, len(rows), size):
        columns = zip(*rows[start : start + size], strict=True)
        yield pa.RecordBatch.from_arrays(
            [
                pa.array(values, column.read_as)
                for values, column in zip(columns, COLUMNS, strict=True)
            ],
            schema=batch_schema(COLUMNS),
        )


def written(form: str, rows: list[tuple[Any, ...]]) -> bytes:
    """The rows as a file."""
    return b"".join(FORMATS[form].pieces(COLUMNS, batches(rows)))


def bits(number: float | None) -> bytes | None:
    """A number so that only the same one is equal to it; -0.0 is not 0.0."""
    return None if number is None else struct.pack("<d", number)


def harmless(text: str | None) -> str | None:
    """What the CSV says of a free text."""
    return f"'{text}" if text and text[0] in "=+-@\t\r" else text


@settings(deadline=None)
@given(ROWS)
@example([("a", -0.0, 0, True, None, None), ("b", 1e300, 1, False, None, None)])
def test_a_csv_reads_back_bit_for_bit(rows: list[tuple[Any, ...]]) -> None:
    content = written("csv", rows)
    head, *found = csv.reader(io.StringIO(content.decode("utf-8"), newline=""), strict=True)
    assert head == [column.name for column in COLUMNS]
    assert len(found) == len(rows)
    for row, (text, number, whole, so, at, said) in zip(found, rows, strict=True):
        assert row[0] == (text or "")
        assert bits(float(row[1]) if row[1] else None) == bits(number)
        assert row[2] == ("" if whole is None else str(whole))
        assert row[3] == {None: "", True: "true", False: "false"}[so]
        assert row[4] == (at or "")
        assert row[5] == (harmless(said) or "")


@settings(deadline=None)
@given(ROWS)
@example([("a", -0.0, 0, True, None, None), ("b", 1e20, 1, False, None, None)])
def test_ndjson_reads_back_bit_for_bit(rows: list[tuple[Any, ...]]) -> None:
    lines = written("ndjson", rows).decode("utf-8").split("\n")
    assert lines.pop() == ""
    assert len(lines) == len(rows)
    for line, row in zip(lines, rows, strict=True):
        found = json.loads(line)
        assert list(found) == [column.name for column in COLUMNS]
        number = found.pop("number")
        assert number is None or isinstance(number, float)
        assert bits(number) == bits(row[1])
        assert tuple(found.values()) == (row[0], *row[2:])


@settings(deadline=None)
@given(ROWS)
def test_parquet_reads_back_bit_for_bit(rows: list[tuple[Any, ...]]) -> None:
    table = parquet.read_table(io.BytesIO(written("parquet", rows)))
    found = table.to_pydict()
    assert found["text"] == [row[0] for row in rows]
    assert [bits(number) for number in found["number"]] == [bits(row[1]) for row in rows]
    assert found["whole"] == [row[2] for row in rows]
    assert found["so"] == [row[3] for row in rows]
    assert [at and f"{at:%Y-%m-%dT%H:%M:%S.%fZ}".zfill(27) for at in found["at"]] == [
        row[4] for row in rows
    ]
    assert found["said"] == [row[5] for row in rows]


ROW = ("x", 0.1, 1, True, "2026-11-24T10:00:00.000001Z", "y")


def test_lines_of_a_csv_end_as_rfc_4180_wants() -> None:
    content = written("csv", [ROW, ("a\nb", None, None, None, None, None)])
    assert content.split(b"\r\n")[0] == b"text,number,whole,so,at,said"
    assert content.endswith(b"\r\n")
    assert content.count(b"\r\n") == 3


def test_a_spreadsheet_runs_nothing_of_a_csv() -> None:
    content = written("csv", [("=1", 1.0, 1, True, None, '=HYPERLINK("x")'), ROW])
    assert b'"\'=HYPERLINK(""x"")"' in content
    # A text that no person wrote freely is left as it is, and so is every text elsewhere.
    assert content.split(b"\r\n")[1].startswith(b'"=1"')
    assert json.loads(written("ndjson", [(*ROW[:5], "=x")]))["said"] == "=x"


def test_infinities_are_null_where_json_has_none() -> None:
    found = json.loads(written("ndjson", [("x", math.inf, 1, True, None, None)]))
    assert found["number"] is None


@pytest.mark.parametrize(
    ("form", "content"), [("csv", b"text,number,whole,so,at,said\r\n"), ("ndjson", b"")]
)
def test_a_table_without_rows_is_a_whole_file(form: str, content: bytes) -> None:
    assert written(form, []) == content


def test_a_parquet_file_without_rows_says_what_its_columns_are() -> None:
    table = parquet.read_table(io.BytesIO(written("parquet", [])))
    assert table.num_rows == 0
    assert table.schema.field("at").type == pa.timestamp("us", tz="UTC")
    assert table.schema.field("number").metadata == {b"description": b"any number", b"unit": b"W"}
    assert table.schema.field("text").metadata == {b"description": b"any text"}


def test_parquet_comes_a_row_group_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(formats, "ROW_GROUP", 6)
    held: list[int] = []

    def counted() -> Iterator[pa.RecordBatch]:
        for batch in batches([ROW] * 30):
            held.append(len(batch))
            yield batch

    sizes = []
    pieces = []
    for piece in FORMATS["parquet"].pieces(COLUMNS, counted()):
        sizes.append(sum(held))
        pieces.append(piece)
    # The first bytes, five groups of two batches, the end of the file.
    assert sizes == [0, 6, 12, 18, 24, 30, 30]
    assert all(pieces)
    file = parquet.ParquetFile(io.BytesIO(b"".join(pieces)))
    assert file.metadata.num_row_groups == 5
    assert file.metadata.row_group(0).column(0).compression == "ZSTD"


@pytest.mark.parametrize("form", FORMATS)
def test_a_fault_in_the_middle_raises_out_of_the_stream(form: str) -> None:
    def broken() -> Iterator[pa.RecordBatch]:
        yield from batches([ROW])
        raise OSError("the database went away")

    taken: list[bytes] = []
    with pytest.raises(OSError, match="went away"):
        taken.extend(FORMATS[form].pieces(COLUMNS, broken()))
    if form == "parquet":
        with pytest.raises(pa.ArrowInvalid):
            parquet.read_table(io.BytesIO(b"".join(taken)))
    else:
        assert taken
