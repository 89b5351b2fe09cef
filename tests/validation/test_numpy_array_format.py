"""NumPy files against the format's documentation and the reference library itself.

Source: the documentation of `numpy.lib.format`, sections “Format Version 1.0” to “3.0” (read with
NumPy 2.4), which the bytes below are put together from; and NumPy's own `save`, `savez` and
`load` as the reference.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray

from measurements.intake.columns import Column
from measurements.intake.tables import read_table

COLUMNS = (
    Column("time_s", "Time", "s", required=False),
    Column("voltage_v", "Voltage", "V", required=False),
)
QUICK = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "log"


def columns_of(file: Path, data: bytes) -> dict[str, NDArray[np.float64]]:
    file.write_bytes(data)
    reading = read_table(file, COLUMNS, file_name="log")
    assert reading.problems == ()
    assert reading.table is not None
    return dict(reading.table.columns)


@pytest.mark.parametrize(("version", "length_bytes"), [(1, 2), (2, 4), (3, 4)])
def test_a_file_put_together_by_the_documentation_is_read(
    file: Path, version: int, length_bytes: int
) -> None:
    # "The first 6 bytes are a magic string: exactly \\x93NUMPY", the version in two bytes, the
    # length of the header as a little-endian unsigned integer, the header padded with spaces and
    # ended by a newline so that all of it is divisible by 64.
    said = "{'descr': [('time_s', '>i2'), ('voltage_v', '<f4')], 'fortran_order': False, "
    said += "'shape': (2,), }"
    start = 6 + 2 + length_bytes
    padded = said + " " * (-(start + len(said) + 1) % 64) + "\n"
    values = bytes.fromhex("0001 0000A041 0002 00009A41")  # 1, 20.0; 2, 19.25
    data = b"\x93NUMPY" + bytes([version, 0]) + len(padded).to_bytes(length_bytes, "little")
    found = columns_of(file, data + padded.encode() + values)
    assert found["time_s"].tolist() == [1.0, 2.0]
    assert found["voltage_v"].tolist() == [20.0, 19.25]
    # The reference reads the same.
    loaded = np.load(file)
    assert loaded["voltage_v"].tolist() == [20.0, 19.25]


NUMBERS = st.one_of(
    arrays.integer_dtypes(endianness="?"),
    arrays.unsigned_integer_dtypes(endianness="?"),
    arrays.floating_dtypes(endianness="?", sizes=(16, 32, 64)),
)


def finite(kind: np.dtype[Any]) -> st.SearchStrategy[Any]:
    elements = {"allow_nan": False, "allow_infinity": False} if kind.kind == "f" else {}
    return arrays.arrays(kind, st.integers(1, 40), elements=elements)


@QUICK
@given(values=NUMBERS.flatmap(finite), packed=st.booleans())
def test_any_array_of_numbers_reads_as_the_reference_loads_it(
    file: Path, values: NDArray[Any], *, packed: bool
) -> None:
    out = io.BytesIO()
    (np.savez_compressed if packed else np.savez)(out, time_s=values, voltage_v=values[::-1])
    found = columns_of(file, out.getvalue())
    with np.load(file) as loaded:
        for name, column in found.items():
            np.testing.assert_array_equal(column, loaded[name].astype(np.float64))


@QUICK
@given(
    values=arrays.arrays(
        np.float64,
        st.tuples(st.integers(1, 40), st.just(2)),
        elements={"allow_nan": False, "allow_infinity": False},
    ),
    order=st.sampled_from("CF"),
)
def test_two_columns_read_as_the_reference_loads_them(
    file: Path, values: NDArray[np.float64], *, order: Any
) -> None:
    out = io.BytesIO()
    np.save(out, np.asarray(values, order=order))
    found = columns_of(file, out.getvalue())
    loaded = np.load(file)
    np.testing.assert_array_equal(found["time_s"], loaded[:, 0])
    np.testing.assert_array_equal(found["voltage_v"], loaded[:, 1])
