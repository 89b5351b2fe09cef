"""Workbooks: what is written reads back, and what is hostile is refused before it is built."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from measurements.intake import workbook_scan
from measurements.intake.workbook_scan import WorkbookError
from measurements.intake.workbook_writing import (
    LONGEST_NAME,
    Cell,
    Page,
    Sheet,
    sheet_names,
    workbook_bytes,
)
from measurements.intake.workbooks import Rows, csv_bytes, filled_rows, open_workbook
from tests.factories.workbooks import make_workbook, raw_workbook, saved


def rows_of(content: bytes, name: str = "runs") -> Rows:
    with open_workbook(io.BytesIO(content)) as book:
        return book.rows(name)


def refusal(content: bytes, name: str = "runs") -> str:
    with pytest.raises(WorkbookError) as error:
        rows_of(content, name)
    return str(error.value)


# reading


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (None, ""),
        (20, "20"),
        (20.0, "20"),
        (-3, "-3"),
        (0.1234567890123, "0.1234567890123"),
        (1e22, "1e+22"),
        (True, "TRUE"),
        ("C1", "C1"),
        ("0x0001912C", "0x0001912C"),
        ("two\nlines", "two lines"),
        ("#DIV/0!", "#DIV/0!"),
        (datetime(2026, 4, 4, 14, 30), "2026-04-04T14:30:00"),  # noqa: DTZ001
        (date(2026, 4, 4), "2026-04-04T00:00:00"),
        (time(14, 30), "14:30:00"),
        (timedelta(hours=26, seconds=1.5), "26:00:01.500000"),
    ],
)
def test_a_cell_reads_as_a_person_would_type_it(cell: object, text: str) -> None:
    assert rows_of(make_workbook({"runs": [["x", cell, "y"]]})) == [["x", text, "y"]]


def test_worksheets_are_found_whatever_the_capitals_and_keep_their_empty_rows() -> None:
    content = make_workbook({"Runs": [["a"], [], ["b", None, "c"], [None], []], "log": [[1]]})
    with open_workbook(io.BytesIO(content)) as book:
        assert book.names == ("Runs", "log")
        assert book.title_of(" rUNS ") == "Runs"
        assert book.title_of("other") is None
        assert book.rows("runs") == [["a"], [], ["b", "", "c"]]


def test_a_worksheet_of_nothing_has_no_rows() -> None:
    assert rows_of(make_workbook({"runs": []})) == []


def test_the_extent_that_a_worksheet_states_is_not_believed() -> None:
    content = raw_workbook(
        sheets={
            "runs": '<dimension ref="A1"/><sheetData><row r="1"><c r="A1"><v>1</v></c>'
            '<c r="B1"><v>2</v></c></row></sheetData>'
        }
    )
    assert rows_of(content) == [["1", "2"]]


def test_equal_cells_give_equal_bytes_and_every_row_is_as_wide_as_the_widest() -> None:
    rows = [["port", "word"], [], ["C1", "0x1, as read"], ["C2"]]
    assert csv_bytes(rows) == b'port,word\n\nC1,"0x1, as read"\nC2,\n'
    assert csv_bytes([]) == b""


@given(
    st.lists(
        st.lists(
            st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp"))),
            min_size=1,
            max_size=5,
        ),
        max_size=8,
    )
)
def test_what_is_written_as_csv_is_read_by_the_csv_module(rows: Rows) -> None:
    width = max((len(row) for row in rows), default=0)
    text = csv_bytes(rows).decode("utf-8")
    found = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert [row + [""] * (width - len(row)) for row in found] == [
        row + [""] * (width - len(row)) for row in rows
    ]


def test_rows_that_the_bench_left_as_planned_are_emptied_in_their_place() -> None:
    rows = [
        ["output_nominal_v", "input_power_w"],
        ["20", "45.1"],
        ["15"],
        ["9", "20.2"],
        ["5", " "],
    ]
    awaited = ("Input_Power_W ", "output_voltage_v")
    assert filled_rows(rows, awaited=awaited) == [rows[0], rows[1], [], rows[3]]
    assert filled_rows([rows[0], rows[2]], awaited=awaited) == []


def test_an_awaited_column_without_any_reading_is_left_out_and_a_planned_one_is_not() -> None:
    rows = [
        ["time_s", "power_factor", "input_power_w", "input_voltage_v"],
        ["0", "", "0.1"],
        ["1", " ", "0.1"],
    ]
    awaited = ("power_factor", "input_power_w", "input_voltage_v")
    assert filled_rows(rows, awaited=awaited) == [
        ["time_s", "input_power_w"],
        ["0", "0.1"],
        ["1", "0.1"],
    ]


def test_a_preamble_above_the_headings_is_kept() -> None:
    rows = [["exported by the bench"], ["time_s", "input_power_w"], ["0", "0.1"]]
    assert filled_rows(rows, awaited=("input_power_w",)) == rows


def test_a_worksheet_without_marks_counts_as_filled_in_from_its_second_row_on() -> None:
    assert filled_rows([["a", "b"], ["1", "2"]], awaited=()) == [["a", "b"], ["1", "2"]]
    assert filled_rows([["P", "t"], ["1", "2"]], awaited=("input_power_w",)) != []
    assert filled_rows([["a", "b"]], awaited=()) == []
    assert filled_rows([], awaited=("a",)) == []


# writing


def test_typed_cells_survive_and_text_stays_text() -> None:
    rows: tuple[tuple[Cell, ...], ...] = (
        ("C1", "0x0001912C", 20.0, None),
        ("=1+1", "#REF!", 0.25, None),
        ("1e5", "007", -1, None),
    )
    sheet = Sheet("runs", ("port", "word", "x", "y"), rows, texts=frozenset({"port", "word"}))
    content = workbook_bytes([sheet], active="runs")
    assert rows_of(content) == [
        ["port", "word", "x", "y"],
        ["C1", "0x0001912C", "20"],
        ["=1+1", "#REF!", "0.25"],
        ["1e5", "007", "-1"],
    ]
    written = load_workbook(io.BytesIO(content))["runs"]
    assert [written.cell(3, column).data_type for column in (1, 2, 3)] == ["s", "s", "n"]
    assert written["A2"].number_format == written.column_dimensions["A"].number_format == "@"
    assert written["C2"].number_format == "General"
    assert written.freeze_panes == "A2"
    assert written.column_dimensions["B"].width == len("0x0001912C") + 2


def test_a_page_opens_first_and_only_one_worksheet_is_chosen() -> None:
    content = workbook_bytes(
        [
            Sheet("runs", ("a",), (), pinned=1),
            Page("Read me first", ("Cautions", "Text\x07 of it"), frozenset({"Cautions"})),
        ],
        active="Read me first",
    )
    book = load_workbook(io.BytesIO(content))
    assert book.sheetnames == ["runs", "Read me first"]
    assert book.active is not None
    assert book.active.title == "Read me first"
    assert [sheet.sheet_view.tabSelected for sheet in book.worksheets] == [False, True]
    assert book["Read me first"]["A2"].value == "Text of it"
    assert book["runs"].freeze_panes == "B2"


@given(st.lists(st.text(max_size=60), max_size=12))
@settings(deadline=None)
def test_names_of_worksheets_are_unique_and_allowed(titles: list[str]) -> None:
    names = sheet_names(titles)
    assert len({name.casefold() for name in names}) == len(titles)
    for name in names:
        # ECMA-376 part 1, 18.2.19 leaves it to programs, which take at most 31 signs.
        assert 0 < len(name.encode("utf-16-le")) // 2 <= LONGEST_NAME
        assert not set(name) & set("[]:*?/\\")
        assert not name.startswith("'")
        assert not name.endswith("'")
    content = workbook_bytes([Sheet(name, ("a",), ()) for name in ("x", *names)], active="x")
    assert load_workbook(io.BytesIO(content)).sheetnames == ["x", *names]


def test_a_long_title_keeps_the_end_that_tells_it_from_its_neighbour() -> None:
    titles = [
        "Efficiency at 20 V on C1, 230 V mains",
        "Standby",
        "Charge of a reference device on C1, from empty to full",
        "x" * 40,
    ]
    assert sheet_names(titles) == (
        "1 Efficiency at 20…230 V mains",
        "2 Standby",
        "3 Charge of a reference…to full",
        f"4 {'x' * 15}…{'x' * 13}",
    )


# hostile workbooks

ROW = '<row r="1"><c r="A1"><v>1</v></c></row>'


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "cannot be opened as a zip"),
        (b"PK\x03\x04 but not really", "cannot be opened as a zip"),
        (b"<html></html>", "cannot be opened as a zip"),
        (bytes.fromhex("D0CF11E0A1B11AE1") + b"\0" * 512, "encrypted, or in the old XLS form"),
    ],
)
def test_what_is_no_workbook_is_refused(content: bytes, said: str) -> None:
    assert said in refusal(content)


def test_a_zip_that_holds_no_workbook_is_refused() -> None:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("a.csv", "1,2\n")
    assert "not a workbook that can be read" in refusal(file.getvalue())


@pytest.mark.parametrize(
    "far",
    [
        '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>',
        '<row r="2"><c r="XFD2"><v>1</v></c></row>',
        '<row r="2"><c r="xfd2"><v>1</v></c></row>',
        '<row r="2"><c r="AAAAAA2"><v>1</v></c></row>',
        '<row r="1e9"><c><v>1</v></c></row>',
        '<row r="200001"/>',
        f'<row r="2">{"<c/>" * 257}</row>',
    ],
)
def test_cells_far_apart_are_refused_before_what_lies_between_is_built(far: str) -> None:
    assert "too large" in refusal(raw_workbook(ROW + far))


def test_a_row_without_a_sensible_number_is_refused() -> None:
    assert "has the number “two”" in refusal(raw_workbook('<row r="two"><c/></row>'))
    assert "has the number “inf”" in refusal(raw_workbook('<row r="inf"><c/></row>'))


def test_more_cells_than_a_sheet_of_a_bench_has_are_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(workbook_scan, "MOST_CELLS", 3)
    good = make_workbook({"runs": [[1, 2, 3]]})
    assert rows_of(good) == [["1", "2", "3"]]
    assert "too large" in refusal(make_workbook({"runs": [[1, 2]], "log": [[3, 4]]}))


LAUGHS = (
    '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
    '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>'
)
EXTERNAL = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'


@pytest.mark.parametrize("doctype", [LAUGHS, EXTERNAL, "<!DOCTYPE worksheet>"])
def test_a_document_type_is_refused_wherever_it_stands(doctype: str) -> None:
    assert "document type declaration" in refusal(raw_workbook(ROW, prologue=doctype))
    part = {"xl/sharedStrings.xml": f"{doctype}<sst/>".encode()}
    assert "document type declaration" in refusal(raw_workbook(ROW, parts=part))
    in_utf_16 = {"xl/odd.bin": f'<?xml version="1.0"?>{doctype}<sst/>'.encode("utf-16")}
    assert "document type declaration" in refusal(raw_workbook(ROW, parts=in_utf_16))


def test_a_bomb_is_refused_while_it_unpacks() -> None:
    bomb = {"xl/media/image1.png": b"\0" * (workbook_scan.UNPACKED_ANYWAY + 1)}
    assert "unpacks to more than 16 MiB" in refusal(raw_workbook(ROW, parts=bomb))


def test_a_part_that_would_be_built_as_a_whole_may_not_be_huge(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(workbook_scan, "LARGEST_OTHER_PART", 2000)
    styles = {"xl/styles.xml": b"<styleSheet>" + b" " * 2000 + b"</styleSheet>"}
    assert "“xl/styles.xml” of the workbook is larger" in refusal(raw_workbook(ROW, parts=styles))


def test_too_many_parts_are_refused() -> None:
    parts = {f"xl/media/{number}": b"x" for number in range(workbook_scan.MOST_MEMBERS)}
    assert "500 are taken" in refusal(raw_workbook(ROW, parts=parts))


def test_an_encrypted_member_is_refused() -> None:
    content = bytearray(raw_workbook(ROW))
    # Bit 0 of the general purpose flag, in the central directory (APPNOTE 4.4.4).
    content[content.index(b"PK\x01\x02") + 8] |= 1
    assert "Save it without a password" in refusal(bytes(content))


def test_damage_is_named() -> None:
    assert "not well formed" in refusal(raw_workbook("<row></wor>"))
    content = bytearray(raw_workbook(ROW * 200))
    place = content.index(b"xl/worksheets/sheet1.xml") + 60
    content[place] ^= 0xFF
    assert "damaged" in refusal(bytes(content))


def test_a_cell_that_points_nowhere_is_a_problem_and_no_exception() -> None:
    said = refusal(raw_workbook('<row r="1"><c r="A1" t="s"><v>77</v></c></row>'))
    assert "The worksheet “runs” cannot be read" in said


def test_two_worksheets_that_differ_by_capitals_are_refused() -> None:
    data = f"<sheetData>{ROW}</sheetData>"
    content = raw_workbook(sheets={"runs": data, "Runs": data})
    assert "Two worksheets are called “Runs” but for capitals" in refusal(content)


def test_merged_cells_are_refused_where_they_stand_and_nowhere_else() -> None:
    book = Workbook()
    assert book.active is not None
    book.active.title = "runs"
    book.create_sheet("log").merge_cells("B2:C3")
    content = saved(book)
    assert rows_of(content) == []
    assert "The worksheet “log” has merged cells at B2:C3" in refusal(content, "log")


def test_a_formula_counts_by_what_it_was_computed_to() -> None:
    # The reference library writes formulas and never computes them.
    assert "a formula in B1 that was never computed" in refusal(
        make_workbook({"runs": [[1, "=A1*2"]]})
    )
    computed = '<row r="1"><c r="A1"><f>1+1</f><v>2</v></c></row>'
    assert rows_of(raw_workbook(computed)) == [["2"]]
    empty = '<row r="1"><c r="A1"><f>1+1</f><v></v></c><c r="B1"><v>3</v></c></row>'
    assert "in A1" in refusal(raw_workbook(empty))


@given(st.binary(max_size=300), st.integers(0, 4000))
@settings(max_examples=80, deadline=None)
def test_no_bytes_in_a_workbook_raise_anything_else(noise: bytes, place: int) -> None:
    content = bytearray(make_workbook({"runs": [["a", 1], ["b", 2.5]]}))
    content[place : place + len(noise)] = noise
    try:
        rows = rows_of(bytes(content))
    except (WorkbookError, KeyError):  # no such worksheet: its name was hit
        return
    assert all(isinstance(cell, str) for row in rows for cell in row)
