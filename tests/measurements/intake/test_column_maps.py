"""A column map wins over every guess, in every format, and says so."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from measurements.intake.column_maps import Assigned, ColumnMap
from measurements.intake.columns import Column, Reading
from measurements.intake.tables import read_table

COLUMNS = (
    Column("time_s", "Time", "s", required=False, aliases=("time",)),
    Column("input_power_w", "Input power", "W", aliases=("power",)),
    Column("power_factor", "Power factor", "", required=False, aliases=("pf",)),
    Column("*_c", "Sensor", "degC", required=False),
)
ODD = Path(__file__).parents[3] / "fixtures" / "odd_files"
PLAIN = ("Ch1", "Ch2", "Ch3")
NUMBERS = ((0.0, 75.0, 21.5), (1.0, 74.0, 22.5))


def a_map(*columns: tuple[str, str | None] | None, headings: tuple[str, ...] = PLAIN) -> ColumnMap:
    return ColumnMap(
        headings=tuple((text, "") for text in headings),
        columns=tuple(None if item is None else Assigned(*item) for item in columns),
        name="old logger",
    )


def read(path: Path, *maps: ColumnMap, columns: tuple[Column, ...] = COLUMNS) -> Reading:
    return read_table(path, columns, file_name="log", maps=maps)


def read_csv(folder: Path, text: str, *maps: ColumnMap) -> Reading:
    path = folder / "log"
    path.write_text(text)
    return read(path, *maps)


def as_text() -> bytes:
    rows = "\n".join(";".join(map(str, row)) for row in NUMBERS)
    return f"bench 3\nbench; room 2; 2026\n{';'.join(PLAIN)}\n{rows}\n".encode()


def as_workbook() -> bytes:
    book, buffer = Workbook(), io.BytesIO()
    assert book.active is not None
    for row in (("bench 3",), PLAIN, *NUMBERS):
        book.active.append(row)
    book.save(buffer)
    return buffer.getvalue()


def as_parquet() -> bytes:
    buffer = io.BytesIO()
    cells = dict(zip(PLAIN, zip(*NUMBERS, strict=True), strict=True))
    pq.write_table(pa.table({name: list(column) for name, column in cells.items()}), buffer)
    return buffer.getvalue()


def as_arrays() -> bytes:
    buffer = io.BytesIO()
    cells: dict[str, Any] = dict(zip(PLAIN, np.array(NUMBERS).T, strict=True))
    np.savez(buffer, **cells)
    return buffer.getvalue()


def as_array() -> bytes:
    buffer = io.BytesIO()
    np.save(buffer, np.array(list(NUMBERS), dtype=[(name, "f8") for name in PLAIN]))
    return buffer.getvalue()


@pytest.mark.parametrize("write", [as_text, as_workbook, as_parquet, as_arrays, as_array])
def test_headings_that_say_nothing_are_shown_and_then_read_by_a_map(
    write: Callable[[], bytes], tmp_path: Path
) -> None:
    path = tmp_path / "log"
    path.write_bytes(write())
    before = read(path)
    assert before.table is None
    assert before.evidence is not None
    # What a page has to offer is what was seen; the map made of it must fit the file again.
    seen = before.evidence.headings
    assert [heading.text for heading in seen] == list(PLAIN)
    chosen = ColumnMap(
        headings=tuple((heading.text, heading.unit_text) for heading in seen),
        columns=(Assigned("time_s", "min"), Assigned("input_power_w", "mW"), None),
        name="old logger",
    )
    after = read(path, chosen)
    assert after.problems == ()
    assert after.table is not None
    assert set(after.table.columns) == {"time_s", "input_power_w"}
    assert after.table["time_s"].tolist() == [0.0, 60.0]
    np.testing.assert_allclose(after.table["input_power_w"], [0.075, 0.074], rtol=1e-12)
    assert "Column map ‘old logger’ applied." in after.notes
    assert any("left unread: ‘Ch3’" in note for note in after.notes)
    assert after.evidence is not None
    assert after.evidence.map_name == "old logger"
    assert [heading.by for heading in after.evidence.headings] == ["map", "map", ""]


def test_a_map_wins_over_names_and_over_a_better_line(tmp_path: Path) -> None:
    text = "time_s,input_power_w\n0,9\n\nA,input_power_w,power_factor\n1,2,0.5\n"
    said = a_map(
        ("input_power_w", "mW"),
        ("time_s", "s"),
        None,
        headings=("a", "Input_Power_W", "power_factor"),
    )
    reading = read_csv(tmp_path, text, said)
    assert reading.table is not None
    assert {name: reading.table[name].tolist() for name in reading.table.columns} == {
        "input_power_w": [0.001],
        "time_s": [2.0],
    }


def test_a_map_of_other_headings_changes_nothing(tmp_path: Path) -> None:
    text = "time_s,input_power_w\n0,9\n"
    other = a_map(("input_power_w", "W"), ("time_s", "s"), headings=("time_s", "input power"))
    assert read_csv(tmp_path, text, other).notes == read_csv(tmp_path, text).notes


def test_a_map_of_other_headings_leaves_the_first_complete_line_the_headings(
    tmp_path: Path,
) -> None:
    text = "Power [W],Time [s]\nHead,Tail\ntime_s,input_power_w\n"
    readings = [read_csv(tmp_path, text, *maps) for maps in ((), (a_map(None, None, None),))]
    assert readings[0].problems
    assert readings[0] == readings[1]


def test_the_row_of_units_is_part_of_the_shape(tmp_path: Path) -> None:
    text = "A,B\ns,{}\n0,9\n"
    said = ColumnMap(
        headings=(("A", "s"), ("B", "mW")),
        columns=(Assigned("time_s", "s"), Assigned("input_power_w", "mW")),
    )
    table = read_csv(tmp_path, text.format("mW"), said).table
    assert table is not None
    np.testing.assert_allclose(table["input_power_w"], [0.009], rtol=1e-12)
    assert read_csv(tmp_path, text.format("W"), said).evidence.map_name == ""  # type: ignore[union-attr]


def test_a_sensor_may_have_any_heading(tmp_path: Path) -> None:
    said = a_map(("input_power_w", "W"), ("top_c", "°F"), ("power_factor", ""))
    table = read_csv(tmp_path, "Ch1,Ch2,Ch3\n5,212,0.5\n", said).table
    assert table is not None
    np.testing.assert_allclose(table["top_c"], [100.0])  # boiling water: 212 °F by definition
    assert table["power_factor"].tolist() == [0.5]


def test_clock_stamps_by_a_map(tmp_path: Path) -> None:
    said = a_map(("time_s", None), ("input_power_w", "W"), None)
    table = read_csv(tmp_path, "Ch1,Ch2,Ch3\n14:00:00,5,x\n14:01:00,6,y\n", said).table
    assert table is not None
    assert table["time_s"].tolist() == [0.0, 60.0]


def test_an_impossible_unit_is_a_problem_and_a_lost_column_a_note(tmp_path: Path) -> None:
    said = a_map(("time_s", "V"), ("input_power_w", "W"), ("crest_factor", ""))
    reading = read_csv(tmp_path, "Ch1,Ch2,Ch3\n0,5,1\n", said)
    assert [(item.row, item.column) for item in reading.problems] == [(1, "Ch1")]
    assert "in V, which cannot be time" in reading.problems[0].detail
    assert any("‘crest_factor’, which is no column" in note for note in reading.notes)


@pytest.mark.parametrize("unit", ["", None, "V**", "10**10**10", "W" * 5000, "degC"])
def test_no_unit_of_a_map_is_too_odd_for_a_sentence(unit: str | None, tmp_path: Path) -> None:
    said = a_map(("time_s", "s"), ("input_power_w", unit), None)
    reading = read_csv(tmp_path, "Ch1,Ch2,Ch3\n0,5,1\n", said)
    assert len(reading.problems) == 1
    assert len(reading.problems[0].detail) < 200


def test_a_map_that_leaves_out_what_is_needed_is_told(tmp_path: Path) -> None:
    reading = read_csv(tmp_path, "Ch1,Ch2,Ch3\n0,5,1\n", a_map(("time_s", "s"), None, None))
    assert "No column for input power" in reading.problems[0].detail


def test_a_map_settles_headings_that_are_spelled_alike() -> None:
    path = ODD / "10-duplicate-headings.csv"
    before = read(path)
    assert before.evidence is not None
    seen = before.evidence.headings
    doubtful = [at for at, heading in enumerate(seen) if "input_power_w" in heading.could_be]
    assert len(doubtful) == 2
    said = ColumnMap(
        headings=tuple((heading.text, heading.unit_text) for heading in seen),
        columns=tuple(
            Assigned("input_power_w", "W") if at == doubtful[1] else None for at in range(len(seen))
        ),
    )
    assert read(path, said).table is not None


def test_a_map_settles_the_decimal_mark() -> None:
    path = ODD / "07-doubtful-thousands.tsv"
    evidence = read(path).evidence
    assert evidence is not None
    assert evidence.decimal_open
    for mark, watts in ((".", [1.234, 1.175]), (",", [0.001234, 0.001175])):
        said = ColumnMap(
            headings=(("time_s", ""), ("Power [mW]", "")),
            columns=(Assigned("time_s", "s"), Assigned("input_power_w", "mW")),
            decimal=mark,  # type: ignore[arg-type]
        )
        table = read(path, said).table
        assert table is not None
        np.testing.assert_allclose(table["input_power_w"], watts, rtol=1e-12)


def test_a_map_settles_which_of_two_worksheets() -> None:
    path = ODD / "32-two-logs.xlsx"
    evidence = read(path).evidence
    assert evidence is not None
    shown = []
    for sheet in (*evidence.sheets, "gone"):
        said = ColumnMap(
            headings=tuple((item.text, item.unit_text) for item in evidence.headings),
            columns=tuple(
                Assigned(item.column, item.read_unit) if item.column else None
                for item in evidence.headings
            ),
            sheet=sheet,
        )
        after = read(path, said)
        shown.append(
            after.table is not None and after.evidence is not None and after.evidence.sheet
        )
    assert shown[: len(evidence.sheets)] == list(evidence.sheets)
    assert shown[-1] is False


HEADINGS = st.text(st.characters(codec="ascii", categories=("Lu", "Ll")), min_size=1, max_size=6)
CANONICAL = ("time_s", "input_power_w", "power_factor", "top_c")
UNITS = ("s", "W", "", "degC")
CELL = st.floats(min_value=-1e6, max_value=1e6, allow_nan=False).map(lambda number: number + 0.0)


@settings(
    max_examples=60,
    deadline=None,  # the machine is shared
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    headings=st.lists(HEADINGS, min_size=4, max_size=4),
    order=st.permutations(range(4)),
    rows=st.lists(st.tuples(CELL, CELL, CELL, CELL), min_size=1, max_size=8),
    separator=st.sampled_from([",", ";", "\t", "|"]),
)
def test_foreign_headings_with_a_map_read_as_the_canonical_ones(
    headings: list[str],
    order: list[int],
    rows: list[tuple[float, ...]],
    separator: str,
    tmp_path: Path,
) -> None:
    body = "".join(separator.join(map(repr, row)) + "\n" for row in rows)
    said = ColumnMap(
        headings=tuple((text, "") for text in headings),
        columns=tuple(Assigned(CANONICAL[at], UNITS[at]) for at in order),
    )
    foreign = read_csv(tmp_path, separator.join(headings) + "\n" + body, said)
    plain = read_csv(tmp_path, separator.join(CANONICAL[at] for at in order) + "\n" + body)
    assert foreign.problems == plain.problems == ()
    assert foreign.table is not None
    assert plain.table is not None
    for name in CANONICAL:
        np.testing.assert_array_equal(foreign.table[name], plain.table[name])
