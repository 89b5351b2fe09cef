"""A run in a worksheet: which one is read, in which rows, and what its cells count as."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import datetime, time, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from measurements.intake.columns import Column, Reading
from measurements.intake.tables import read_table
from measurements.intake.workbooks import shows_percent
from tests.factories.workbooks import Rows, make_workbook, raw_workbook, saved

NO_LOAD = (
    Column("time_s", "Time", "s", required=False, aliases=("time", "zeit"), minimum=0),
    Column("input_power_w", "Input power", "W", aliases=("power",), minimum=0, maximum=500),
    Column("power_factor", "Power factor", "", required=False, aliases=("pf",)),
)
CHARGE = (
    Column("time_s", "Time", "s", aliases=("time",)),
    Column("battery_percent", "Battery level", "%", aliases=("battery",), minimum=0, maximum=100),
)
SCAN = (
    Column("port", "Port", "", type="text"),
    Column("word", "Word", "", required=False, type="text"),
)
HEAD = ["time_s", "input_power_w"]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "log.xlsx"


def read(
    file: Path, content: bytes | Mapping[str, Rows], columns: tuple[Column, ...] = NO_LOAD
) -> Reading:
    file.write_bytes(content if isinstance(content, bytes) else make_workbook(content))
    return read_table(file, columns, file_name="log.xlsx")


def sheet_of(rows: Rows, prepare: Callable[[Worksheet], None]) -> bytes:
    book = Workbook()
    assert book.active is not None
    book.active.title = "log"
    for row in rows:
        book.active.append(list(row))
    prepare(book.active)
    return saved(book)


def table(reading: Reading) -> dict[str, list[float]]:
    assert reading.problems == ()
    assert reading.table is not None
    return {name: column.tolist() for name, column in reading.table.columns.items()}


def refusal(reading: Reading) -> str:
    assert reading.table is None
    return reading.problems[0].detail


def test_rows_are_those_of_the_worksheet_and_everything_recognised_is_told(file: Path) -> None:
    rows: Rows = [
        ["bench 3", "invented"],
        [],
        ["Zeit", "Power", "PF", None, "Remark"],
        ["min", "mW"],
        [0, 75.25, 0.5, None, "cold"],
        [],
        [1.5, 80, None, None, "warm", None, "typed beside"],
        ["End of record"],
    ]
    reading = read(file, {"log": rows, "notes": [["nothing"]]})
    found = table(reading)
    assert found["time_s"] == [0.0, 90.0]
    assert found["input_power_w"] == pytest.approx([0.07525, 0.08], rel=1e-12)
    assert found["power_factor"][0] == 0.5
    assert math.isnan(found["power_factor"][1])
    assert reading.table is not None
    assert reading.table.rows.tolist() == [5, 7]
    told = " ".join(reading.notes)
    for words in (
        "‘log.xlsx’ read as a workbook, worksheet “log”",
        "Other worksheets left unread: “notes”",
        "2 rows above the headings skipped",
        "headings are in row 3",
        "Row 4 is a row of units",
        "‘Power’ read as input power, mW → W",
        "left unread: ‘Remark’",
        "Cells to the right of the headings left unread: 1.",
        "1 line of text below the numbers skipped, from line 8 on",
    ):
        assert words in told
    assert "separated by" not in told


def test_a_problem_names_the_worksheet_where_there_are_several(file: Path) -> None:
    bad: Rows = [HEAD, [0, 0.1], [1, "1/2"], [2, 600]]
    alone, several = read(file, {"log": bad}), read(file, {"a": [[1]], "log": bad})
    assert [(item.row, item.column) for item in several.problems] == [(3, HEAD[1]), (4, HEAD[1])]
    for one, other in zip(alone.problems, several.problems, strict=True):
        assert other.detail == f"Worksheet “log”: {one.detail}"


def test_all_problems_are_counted_and_the_first_are_told(file: Path) -> None:
    reading = read(file, {"log": [HEAD, *([number, "x"] for number in range(300))]})
    assert reading.problem_count == 300
    assert len(reading.problems) == 200


@pytest.mark.parametrize(
    ("stamps", "seconds"),
    [
        ([datetime(2026, 1, 31, 14, 5), datetime(2026, 1, 31, 14, 5, 1, 500_000)], [0.0, 1.5]),  # noqa: DTZ001
        ([time(23, 59, 59), time(0, 0, 1)], [0.0, 2.0]),
        ([timedelta(hours=23), timedelta(hours=25)], [0.0, 7200.0]),
    ],
)
def test_dates_and_times_are_clock_stamps(
    file: Path, stamps: list[object], seconds: list[float]
) -> None:
    rows: Rows = [["Time", "Power [W]"], *([stamp, 0.1] for stamp in stamps)]
    assert table(read(file, {"log": rows}))["time_s"] == seconds


def test_a_number_that_became_a_date_is_a_problem(file: Path) -> None:
    reading = read(file, {"log": [HEAD, [0, datetime(2026, 5, 1)]]})  # noqa: DTZ001
    assert "is a clock stamp, but input power must be a number" in refusal(reading)


def test_text_cells_never_settle_the_decimal_mark(file: Path) -> None:
    assert "‘0,5’" in refusal(read(file, {"log": [HEAD, [0, "0,5"], [1, "0,6"]]}))
    # In a column alone, a text of grouped thousands must not turn 1.234 into 1234.
    alone: Rows = [["input_power_w"], ["1.234,5"], [1.234]]
    reading = read(file, {"log": alone})
    assert [problem.row for problem in reading.problems] == [2]


def test_truth_values_and_errors_are_problems(file: Path) -> None:
    for cell in (True, "#DIV/0!", "=1/0"):
        assert read(file, {"log": [HEAD, [0, cell]]}).table is None


def test_columns_of_text_keep_their_words(file: Path) -> None:
    reading = read(file, {"scan": [["port", "word"], ["C1", "0x0001912C"], ["C 2", None]]}, SCAN)
    assert reading.table is not None
    assert reading.table.texts == {"port": ("C1", "C 2"), "word": ("0x0001912C", "")}


def test_numbers_keep_every_digit(file: Path) -> None:
    values = [0.1, 1 / 3, 123456.789012345, 1e-300]
    rows: Rows = [HEAD, *([number, value] for number, value in enumerate(values))]
    assert (
        table(read(file, {"log": rows}, (NO_LOAD[0], Column(HEAD[1], "P", "W"))))[HEAD[1]] == values
    )


# which worksheet


def test_the_only_worksheet_with_the_headings_is_read(file: Path) -> None:
    book: dict[str, Rows] = {
        "empty": [],
        "setup": [["Time", "x"], ["a", 1]],
        "log": [HEAD, [0, 0.1]],
    }
    assert table(read(file, book))["input_power_w"] == [0.1]


def test_two_worksheets_with_the_headings_are_for_the_sender_to_settle(file: Path) -> None:
    said = refusal(read(file, {"day": [HEAD, [0, 0.1]], "night": [HEAD, [0, 0.1]]}))
    assert "“day”, “night”. Keep one of them" in said
    assert "filled-in sheet" not in said
    said = refusal(read(file, {"runs": [HEAD, [0, 0.1]], "night": [HEAD, [0, 0.1]]}))
    assert "filled-in sheet of many runs" in said


def test_without_any_headings_the_worksheets_are_listed(file: Path) -> None:
    said = refusal(read(file, {"a": [["x", "y"]], "b": [[1, 2]]}))
    assert "None of the worksheets “a”, “b” holds the headings" in said
    assert "Put a line such as ‘input_power_w’" in refusal(read(file, {"a": [["x", "y"]]}))
    assert "no cells that hold anything" in refusal(read(file, {"a": []}))
    assert "no rows below" in refusal(read(file, {"a": [HEAD]}))


def test_the_best_worksheet_tells_what_it_lacks(file: Path) -> None:
    reading = read(file, {"a": [["x"]], "log": [["time_s", "Power"], [0, 1]]})
    assert "names no unit" in refusal(reading)
    assert reading.problems[0].row == 1


def test_hidden_rows_columns_and_worksheets_are_read_and_told(file: Path) -> None:
    def hide(sheet: Worksheet) -> None:
        sheet.row_dimensions[3].hidden = True
        sheet.column_dimensions["B"].hidden = True
        assert sheet.parent is not None
        sheet.parent.create_sheet("front")
        sheet.sheet_state = "hidden"

    reading = read(file, sheet_of([HEAD, [0, 0.1], [1, 0.2]], hide))
    assert table(reading)["input_power_w"] == [0.1, 0.2]
    told = " ".join(reading.notes)
    assert "“log” (hidden)" in told
    assert "Hidden rows are read like the others: 1." in told
    assert "Hidden columns are read" in told
    assert "idden" not in " ".join(read(file, {"log": [HEAD, [0, 0.1]]}).notes)


# per cent


def percent(places: list[str], form: str = "0%") -> Callable[[Worksheet], None]:
    def prepare(sheet: Worksheet) -> None:
        for place in places:
            sheet[place].number_format = form

    return prepare


def test_what_is_shown_as_per_cent_counts_as_shown_in_a_column_of_per_cent(file: Path) -> None:
    rows: Rows = [["time_s", "Battery [%]"], [0, 0.07], [1, 0.085], [2, 1], [3, 50], [4, "60"]]
    reading = read(file, sheet_of(rows, percent(["B2", "B3", "B4"])), CHARGE)
    assert table(reading)["battery_percent"] == [7.0, 8.5, 100.0, 50.0, 60.0]
    assert "Cells of ‘Battery [%]’ are shown as per cent, and count as shown." in reading.notes


def test_elsewhere_it_counts_as_stored(file: Path) -> None:
    rows: Rows = [["time_s", "input_power_w", "PF"], [0, 0.1, 0.98]]
    reading = read(file, sheet_of(rows, percent(["C2"], '0.0"x"%')))
    assert table(reading)["power_factor"] == [0.98]
    assert any("‘PF’ are shown as per cent; they count as stored" in note for note in reading.notes)


@pytest.mark.parametrize(
    ("form", "expected"),
    [
        ("General", False),
        ("0.0%", True),
        ("0 %", True),
        ('0.0" %"', False),
        ("0.0\\%", False),
        ("[Red]0%", True),
        ("[<0.5]0%;0.0", True),
    ],
)
def test_a_sign_of_per_cent_that_is_only_text_changes_nothing(form: str, *, expected: bool) -> None:
    assert shows_percent(form) is expected


# merged cells and formulas


def test_cells_may_be_merged_above_the_headings_only(file: Path) -> None:
    rows: Rows = [["Log of an invented bench"], HEAD, [0, 0.1], [1, 0.2]]
    good = sheet_of(rows, lambda sheet: sheet.merge_cells("A1:B1"))
    assert table(read(file, good))["input_power_w"] == [0.1, 0.2]

    def both(sheet: Worksheet) -> None:
        sheet.merge_cells("A1:B1")
        sheet.merge_cells("B3:B4")

    assert "merged cells at B3:B4" in refusal(read(file, sheet_of(rows, both)))


def test_a_formula_counts_by_what_it_was_computed_to_and_else_is_refused(file: Path) -> None:
    head = '<row r="1"><c t="inlineStr"><is><t>input_power_w</t></is></c></row>'
    computed = raw_workbook(f'{head}<row r="2"><c r="A2"><f>1/4</f><v>0.25</v></c></row>')
    assert table(read(file, computed))["input_power_w"] == [0.25]
    assert "a formula in B2 that was never computed" in refusal(
        read(file, {"log": [HEAD, [0, "=1/4"]]})
    )
    # A worksheet that is not used may hold what it likes.
    assert table(read(file, {"log": [HEAD, [0, 0.1]], "plot": [["=1/4"]]}))["time_s"] == [0.0]


# hostile workbooks


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (raw_workbook(prologue="<!DOCTYPE worksheet>"), "document type declaration"),
        (raw_workbook('<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'), "too large"),
        (raw_workbook("<row></wor>"), "not well formed"),
        (raw_workbook(parts={"xl/media/a.png": b"\0" * (17 << 20)}), "unpacks to more than"),
        (raw_workbook('<row r="1"><c r="A1" t="s"><v>77</v></c></row>'), "cannot be read"),
    ],
)
def test_a_hostile_workbook_is_refused(file: Path, content: bytes, said: str) -> None:
    assert said in refusal(read(file, content))


def test_a_cell_in_a_style_that_is_not_there_is_a_problem(file: Path) -> None:
    content = raw_workbook('<row r="1"><c r="A1" s="77"><v>1</v></c></row>')
    assert "cannot be read" in refusal(read(file, content))


def test_a_member_without_a_name_is_no_stumbling_block(file: Path) -> None:
    content = raw_workbook('<row r="1"><c r="A1"><v>1</v></c></row>', parts={"@@": b""})
    # A name ends at its first zero (as zip readers have it), and nothing is left of this one.
    assert "holds the headings" in refusal(read(file, content.replace(b"@@", b"\0\0")))


CELLS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**18), 10**18),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(st.characters(min_codepoint=32, max_codepoint=0x2FFF), max_size=6),
    st.sampled_from(
        ["time_s", "input_power_w", "Power [mW]", "min", "mW", ",", '"', ";", "#", "%"]
    ),
    st.datetimes(datetime(1901, 1, 1), datetime(2100, 1, 1)),  # noqa: DTZ001
)


@given(rows=st.lists(st.lists(CELLS, max_size=4), max_size=6), headed=st.booleans())
@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_any_cells_are_answered(file: Path, rows: list[list[object]], *, headed: bool) -> None:
    texts = [
        [f" {cell}" if isinstance(cell, str) and cell.startswith("=") else cell for cell in row]
        for row in rows
    ]
    reading = read(file, {"log": [*([HEAD] if headed else []), *texts]})
    assert (reading.table is None) == (reading.problem_count > 0)
    assert all(problem.detail for problem in reading.problems)


@given(
    st.lists(st.tuples(st.floats(0, 1e6), st.floats(0, 500)), min_size=1, max_size=12, unique_by=id)
)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_numbers_read_back_equal(file: Path, rows: list[tuple[float, float]]) -> None:
    found = table(read(file, {"log": [HEAD, *rows]}))
    # The reference library writes sixteen digits of what has seventeen.
    assert found["time_s"] == pytest.approx([row[0] for row in rows], rel=1e-14)
    assert found["input_power_w"] == pytest.approx([row[1] for row in rows], rel=1e-14)
