"""Parquet files against Apache Arrow's own reading of them.

Source: Apache Parquet as its reference implementation writes and reads it (PyArrow, read as a whole
table, then as a data frame), and its file format documentation for the marks at both ends.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Column
from measurements.intake.tables import read_table

COLUMNS = (
    Column("time_s", "Time", "s"),
    Column("input_power_w", "Input power", "W"),
    Column("power_factor", "Power factor", "", required=False),
)
STAMPS = st.integers(-(2**40), 2**40)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "log"


@given(
    rows=st.lists(
        st.tuples(st.integers(-(2**40), 2**40), NUMBERS, st.none() | NUMBERS), min_size=1
    ),
    packing=st.sampled_from(["none", "snappy", "gzip", "zstd", "lz4", "brotli"]),
    page=st.sampled_from(["1.0", "2.0"]),
    group=st.integers(1, 20),
    coded=st.booleans(),
)
@settings(
    max_examples=80,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_table_reads_as_the_reference_reads_it(
    *,
    file: Path,
    rows: list[tuple[int, float, float | None]],
    packing: str,
    page: str,
    group: int,
    coded: bool,
) -> None:
    stamps, power, factor = zip(*rows, strict=True)
    table = pa.table(
        {
            "time_s": pa.array(stamps, pa.timestamp("us")),
            "input_power_w": pa.array(power, pa.float64()),
            "power_factor": pa.array(factor, pa.float64()),
        }
    )
    out = io.BytesIO()
    pq.write_table(
        table,
        out,
        compression=packing,
        data_page_version=page,
        row_group_size=group,
        use_dictionary=coded,
        write_page_checksum=True,
    )
    data = out.getvalue()
    assert data[:4] == data[-4:] == b"PAR1"
    file.write_bytes(data)
    reading = read_table(file, COLUMNS, file_name="log")
    assert reading.problems == ()
    assert reading.table is not None
    frame = pq.read_table(file).to_pandas()
    np.testing.assert_array_equal(reading.table["input_power_w"], frame["input_power_w"])
    np.testing.assert_array_equal(
        reading.table["power_factor"], frame["power_factor"].astype(float)
    )
    since = (frame["time_s"] - frame["time_s"].iloc[0]).dt.total_seconds()
    np.testing.assert_allclose(reading.table["time_s"], since, rtol=1e-12, atol=1e-12)


def test_a_page_with_a_wrong_checksum_is_refused(file: Path) -> None:
    out = io.BytesIO()
    pq.write_table(
        pa.table({"time_s": [1.0, 2.0], "input_power_w": [0.5, 0.25]}),
        out,
        write_page_checksum=True,
        use_dictionary=False,
        compression="none",
    )
    data = bytearray(out.getvalue())
    data[data.index(np.array([0.5, 0.25]).tobytes())] ^= 1
    file.write_bytes(data)
    assert read_table(file, COLUMNS, file_name="log").table is None
