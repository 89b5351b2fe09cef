"""Parquet files: types, units beside the names, stamps, and files that lie or are damaged."""

from __future__ import annotations

import io
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from measurements.intake import parquet_files, series
from measurements.intake.columns import Column, Reading
from measurements.intake.tables import read_table

NO_LOAD = (
    Column("time_s", "Time", "s", required=False, aliases=("time", "zeit")),
    Column("input_power_w", "Input power", "W", aliases=("power",), minimum=0, maximum=500),
    Column("power_factor", "Power factor", "", required=False, aliases=("pf",)),
)
SCAN = (Column("port", "Port", "", type="text"), Column("word", "Word", "", type="text"))


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "log"


def parquet(columns: Mapping[str, Any] | pa.Table, **options: Any) -> bytes:
    out = io.BytesIO()
    content = columns if isinstance(columns, pa.Table) else pa.table(dict(columns))
    pq.write_table(content, out, **options)
    return out.getvalue()


def read(file: Path, data: bytes, columns: tuple[Column, ...] = NO_LOAD) -> Reading:
    file.write_bytes(data)
    return read_table(file, columns, file_name="log")


def table(reading: Reading) -> dict[str, list[float]]:
    assert reading.problems == ()
    assert reading.table is not None
    return {name: column.tolist() for name, column in reading.table.columns.items()}


def refusal(reading: Reading) -> str:
    assert reading.table is None
    return reading.problems[0].detail


def test_a_data_frame_as_it_is_saved_is_read(file: Path) -> None:
    frame = pd.DataFrame({"Zeit (min)": [0, 1], "Power [mW]": [75.0, 80.5], "Remark": ["a", "b"]})
    out = io.BytesIO()
    frame.to_parquet(out)
    reading = read(file, out.getvalue())
    found = table(reading)
    assert found["time_s"] == [0.0, 60.0]
    assert found["input_power_w"] == pytest.approx([0.075, 0.0805], rel=1e-12)
    assert reading.table is not None
    assert reading.table.rows.tolist() == [1, 2]
    told = " ".join(reading.notes)
    for words in ("read as a Parquet file", "Rows are counted from 1", "left unread: ‘Remark’"):
        assert words in told


def test_a_unit_may_stand_beside_the_name(file: Path) -> None:
    def with_unit(name: str, unit: str) -> bytes:
        fields = [
            pa.field("time_s", pa.int8()),
            pa.field(name, pa.int16(), metadata={"unit": unit}),
        ]
        arrays = [pa.array([0], pa.int8()), pa.array([75], pa.int16())]
        return parquet(pa.Table.from_arrays(arrays, schema=pa.schema(fields)))

    assert table(read(file, with_unit("Power", "mW")))["input_power_w"] == [0.075]
    assert table(read(file, with_unit("Power [mW]", "mW")))["input_power_w"] == [0.075]
    reading = read(file, with_unit("Power [W]", "mW"))
    assert "another unit than the file states" in refusal(reading)
    assert reading.problems[0].column == "Power [W]"
    assert "not a unit known here" in refusal(read(file, with_unit("Power", "parsec")))


@pytest.mark.parametrize(
    "kind",
    [
        *(pa.float16(), pa.float32(), pa.float64(), pa.int8(), pa.uint16(), pa.int64()),
        *(pa.uint64(), pa.decimal128(9, 2), pa.decimal256(40, 2)),
        pa.dictionary(pa.int8(), pa.float64()),
    ],
)
def test_every_type_of_number_is_read_and_a_null_is_a_blank(file: Path, kind: Any) -> None:
    values: list[Any] = [1, None, 3]
    if pa.types.is_decimal(kind):
        values = [Decimal(1), None, Decimal(3)]
    numbers = pa.array(values, kind.value_type if pa.types.is_dictionary(kind) else kind)
    if pa.types.is_dictionary(kind):
        numbers = numbers.dictionary_encode()
    found = table(read(file, parquet({"input_power_w": [1.0, 2.0, 3.0], "pf": numbers})))
    assert found["power_factor"][::2] == [1.0, 3.0]
    assert np.isnan(found["power_factor"][1])
    reading = read(file, parquet({"input_power_w": numbers}))
    assert [(item.row, item.column) for item in reading.problems] == [(2, "input_power_w")]
    assert "The cell is blank" in refusal(reading)


def test_a_column_without_any_value_is_blank(file: Path) -> None:
    data = parquet({"input_power_w": [1.0], "pf": pa.nulls(1)})
    assert np.isnan(table(read(file, data))["power_factor"][0])


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("zone", [None, "Europe/Berlin"])
def test_stamps_are_counted_from_the_first(file: Path, unit: str, zone: str | None) -> None:
    stamps = pa.array([1769864700, 1769864702, None], pa.timestamp("s")).cast(
        pa.timestamp(unit, zone)
    )
    reading = read(file, parquet({"time_s": stamps, "input_power_w": [1.0, 2.0, 3.0]}))
    found = table(reading)["time_s"]
    assert found[:2] == [0.0, 2.0]
    assert np.isnan(found[2])
    assert any("‘time_s’ are counted from the first" in note for note in reading.notes)


def test_spans_of_time_and_stamps_as_text_are_read(file: Path) -> None:
    power = [1.0, 2.0]
    spans = pa.array([1500, 4500], pa.duration("ms"))
    assert table(read(file, parquet({"time": spans, "power_w": power})))["time_s"] == [1.5, 4.5]
    words = ["2026-01-31T14:05:00+01:00", "2026-01-31T13:05:02Z"]
    assert table(read(file, parquet({"time": words, "power_w": power})))["time_s"] == [0.0, 2.0]
    reading = read(file, parquet({"time": ["14:05:00", "1.5"], "power_w": power}))
    assert [(item.row, item.column) for item in reading.problems] == [(2, "time")]


def test_texts_are_read_for_columns_of_text(file: Path) -> None:
    ports = ["C1", " C1", "A1"]
    words = ["0x0001912C", "0x0002D12C", "0x0001912C"]
    for kind in (pa.string(), pa.large_string(), pa.dictionary(pa.int32(), pa.string())):
        columns = {"port": pa.array(ports).cast(kind), "word": pa.array(words).cast(kind)}
        reading = read(file, parquet(columns), SCAN)
        assert reading.table is not None
        assert reading.table.texts == {"port": ("C1", "C1", "A1"), "word": tuple(words)}
    reading = read(file, parquet({"port": ["C1", None], "word": ["x", "y"]}), SCAN)
    assert [(item.row, item.column) for item in reading.problems] == [(2, "port")]
    # 0x10 and 10 look alike as whole numbers.
    reading = read(file, parquet({"port": ["C1"], "word": [16]}), SCAN)
    assert "‘word’ is stored as int64; word must be stored as text" in refusal(reading)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (pa.array([[1.0], [2.0]]), "stored as list"),
        (pa.array([{"x": 1.0}, {"x": 2.0}]), "stored as struct"),
        (pa.array([True, False]), "stored as bool"),
        (pa.array(["1", "2"]), "stored as string"),
        (pa.array([b"1", b"2"]), "stored as binary"),
        (pa.array([1, 2], pa.date32()), "stored as date32"),
        (pa.array([1, 2], pa.timestamp("s")), "stored as timestamp"),
    ],
)
def test_a_type_that_is_no_number_is_named(file: Path, values: Any, said: str) -> None:
    reading = read(file, parquet({"time_s": [0.0, 1.0], "input_power_w": values}))
    assert said in refusal(reading)
    assert reading.problems[0].column == "input_power_w"
    # What the run does not need may be of any type.
    good = parquet({"input_power_w": [1.0, 2.0], "other": values})
    assert table(read(file, good))["input_power_w"] == [1.0, 2.0]


def test_bad_values_are_named_by_their_row(file: Path) -> None:
    reading = read(file, parquet({"Power [kW]": [0.1, float("inf"), 0.6, float("nan")]}))
    assert [(item.row, item.column) for item in reading.problems] == [
        (2, "Power [kW]"),
        (3, "Power [kW]"),
        (4, "Power [kW]"),
    ]
    assert "‘0.6’ is 600 W, but input power is always from 0 to 500 W" in (
        reading.problems[1].detail
    )


def test_headings_are_judged_as_in_any_file(file: Path) -> None:
    twice = pa.Table.from_arrays([pa.array([1.0]), pa.array([2.0])], names=["power_w", "power_w"])
    assert "stands over 2 columns" in refusal(read(file, parquet(twice)))
    assert "No column for input power" in refusal(read(file, parquet({"x": [1.0]})))
    assert "names no unit" in refusal(read(file, parquet({"Power": [1.0]})))
    assert "no rows" in refusal(read(file, parquet({"input_power_w": pa.array([], "f8")})))


def test_many_groups_of_rows_and_batches_are_joined_in_order(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parquet_files, "ROWS_AT_ONCE", 7)
    times = pa.array(range(100), pa.timestamp("ms"))
    data = parquet(
        {"time": times, "input_power_w": np.arange(100.0), "pf": np.arange(100)},
        row_group_size=30,
        compression="zstd",
    )
    found = table(read(file, data))
    assert found["input_power_w"] == found["power_factor"] == list(range(100))
    assert found["time_s"] == pytest.approx([number / 1000 for number in range(100)], abs=1e-12)


# hostile files


def test_a_table_beyond_any_log_is_refused(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wide = parquet({f"c{number}": [1.0] for number in range(513)})
    assert "513 columns; 512 are taken" in refusal(read(file, wide))
    good = parquet({"input_power_w": [1.0, 2.0], "time_s": [1.0, 2.0]})
    monkeypatch.setattr(parquet_files, "_MOST_UNPACKED", 10)
    assert "unpacks to more than" in refusal(read(file, good))
    monkeypatch.setattr(series, "MOST_VALUES", 3)
    assert "more than 3 values" in refusal(read(file, good))
    monkeypatch.setattr(series, "MAX_ROWS", 1)
    assert "more than 1 rows" in refusal(read(file, good))


def test_one_long_text_on_every_row_is_not_unpacked_row_by_row(file: Path) -> None:
    places = pa.array(np.zeros(50_000, dtype=np.int32))
    columns = {
        name: pa.DictionaryArray.from_arrays(places, [text])
        for name, text in (("port", "x" * 100_000), ("word", "y"))
    }
    # Without the writer's own schema the columns are plain texts.
    data = parquet(columns, store_schema=False)
    assert len(data) < 1 << 20
    assert "A text of 100,000 characters" in refusal(read(file, data, SCAN))


def lying(count: int) -> bytes:
    """A file of 60 rows whose footer states another number of them, whose count is its own."""
    whole = parquet({"input_power_w": np.arange(60.0)}, store_schema=False)
    # Thrift's compact protocol: a 64-bit integer field with delta 1 is 0x16, its value zigzag.
    stated = b"\x16" + bytes([2 * 60])
    at = whole.index(stated, len(whole) - 8 - int.from_bytes(whole[-8:-4], "little"))
    return whole[:at] + b"\x16" + bytes([2 * count]) + whole[at + len(stated) :]


def test_a_footer_that_lies_about_its_rows_is_not_believed(file: Path) -> None:
    assert len(table(read(file, lying(60)))["input_power_w"]) == 60
    for count in (1, 59, 61, 63):
        said = refusal(read(file, lying(count)))
        assert "states" in said or "damaged" in said


def test_a_nested_name_with_a_point_is_no_trap(file: Path) -> None:
    nested = pa.array([{"w": 5.0}])
    data = parquet({"power.w": [1.0], "power": nested, "input_power_w": [2.0]})
    assert table(read(file, data))["input_power_w"] == [2.0]


@pytest.mark.parametrize("cut", range(4, 40))
def test_a_file_cut_off_anywhere_is_refused(file: Path, cut: int) -> None:
    whole = parquet({"input_power_w": [1.0, 2.0]})
    assert read(file, whole[: len(whole) * cut // 40]).table is None
    # Also where the mark of the end is put back.
    assert read(file, whole[: len(whole) * cut // 40 - 8] + whole[-8:]).table is None


WHOLE = (
    parquet({"time_s": pa.array([0, 1, 2, 3], pa.timestamp("us")), "input_power_w": [1.0] * 4}),
    parquet({"input_power_w": pa.array([1, None, 3], pa.int32())}, compression="gzip"),
    parquet({"port": ["C1", "C1", "A1"], "word": ["x", "y", "z"]}, data_page_version="2.0"),
)


@given(
    st.integers(0, 2),
    st.lists(
        st.tuples(st.integers(0, 2000), st.integers(0, 6), st.binary(max_size=6)),
        min_size=1,
        max_size=3,
    ),
)
@settings(
    max_examples=200,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_damage_is_answered(
    file: Path, which: int, damages: list[tuple[int, int, bytes]]
) -> None:
    data = WHOLE[which]
    for at, length, snippet in damages:
        place = at % (len(data) + 1)
        data = data[:place] + snippet + data[place + length :]
    reading = read(file, data, SCAN if which == 2 else NO_LOAD)
    assert (reading.table is None) == (reading.problem_count > 0)
    assert all(problem.detail for problem in reading.problems)
