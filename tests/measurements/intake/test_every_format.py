"""One record in every format gives one table, and a long one needs little memory."""

from __future__ import annotations

import csv
import io
import tracemalloc
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Column
from measurements.intake.tables import read_table
from tests.factories.workbooks import make_workbook

COLUMNS = (
    Column("time_s", "Time", "s", aliases=("time", "zeit")),
    Column("voltage_v", "Voltage", "V", aliases=("voltage", "vbus"), maximum=100),
    Column("current_a", "Current", "A", required=False, aliases=("current",)),
)
HEADINGS = ("Zeit (min)", "Vbus/mV", "Current [mA]")
# Values with few digits, which no format and no parser rounds.
VALUES = st.integers(-(10**6), 10**6).map(lambda number: number / 64)
Rows = list[tuple[float, float, float]]


def as_csv(rows: Rows) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerows([HEADINGS, *rows])
    return text.getvalue().encode()


def as_parquet(rows: Rows) -> bytes:
    out = io.BytesIO()
    pq.write_table(pa.table(dict(zip(HEADINGS, zip(*rows, strict=True), strict=True))), out)
    return out.getvalue()


def as_npz(rows: Rows) -> bytes:
    out = io.BytesIO()
    np.savez_compressed(out, **dict(zip(HEADINGS, np.array(rows).T, strict=True)))
    return out.getvalue()


def as_npy(rows: Rows) -> bytes:
    out = io.BytesIO()
    np.save(out, np.array(rows, dtype=[(name, ">f8") for name in HEADINGS]))
    return out.getvalue()


@given(
    rows=st.lists(st.tuples(VALUES, VALUES, VALUES), min_size=1, max_size=20),
    bad=st.none() | st.integers(0, 19),
)
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_one_record_is_one_table_and_one_set_of_problems(
    *, tmp_path: Path, rows: Rows, bad: int | None
) -> None:
    if bad is not None and bad < len(rows):
        rows = [(row[0], 1e9, row[2]) if at == bad else row for at, row in enumerate(rows)]
    workbook = make_workbook({"log": [HEADINGS, *rows]})
    readings = []
    for data in (as_csv(rows), workbook, as_parquet(rows), as_npz(rows), as_npy(rows)):
        path = tmp_path / "log"
        path.write_bytes(data)
        readings.append(read_table(path, COLUMNS, file_name="log"))
    text = readings[0]
    below_headings = [0, 0, 1, 1, 1]
    for reading, shift in zip(readings, below_headings, strict=True):
        assert [(item.row, item.column) for item in reading.problems] == [
            (item.row - shift, item.column) for item in text.problems if item.row is not None
        ]
        if text.table is None or reading.table is None:
            assert reading.table is text.table
            continue
        assert reading.table.columns.keys() == text.table.columns.keys()
        assert reading.table.rows.tolist() == [row - shift for row in text.table.rows.tolist()]
        for name, column in text.table.columns.items():
            np.testing.assert_array_equal(reading.table[name], column)


@pytest.mark.parametrize("form", ["npz", "npy"])
def test_a_long_waveform_needs_little_more_than_its_table(tmp_path: Path, form: str) -> None:
    samples = 1_000_000
    path = tmp_path / f"long.{form}"
    voltage = np.full(samples, 20.0)
    if form == "npz":
        np.savez(path, voltage_v=voltage.astype(">f4"), sample_rate_hz=1e8)
    else:
        np.save(path, np.column_stack([np.arange(samples) / 1e8, voltage]))
    columns = (
        Column("time_s", "Time", "s", required=False),
        Column("voltage_v", "Voltage", "V", required=False, minimum=-100, maximum=100),
    )
    tracemalloc.start()
    try:
        reading = read_table(path, columns, file_name="long")
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert reading.table is not None
    assert len(reading.table) == samples
    # Two columns and the numbers of the rows, eight bytes each, and half as much on the way; ten
    # million samples then take less than 400 MiB.
    assert peak < 1.5 * 3 * 8 * samples
