"""Whole files are read: what is recognised, what is refused, and where."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from measurements.intake import heading_lines, portions, records, values
from measurements.intake.columns import Column, Reading
from measurements.intake.tables import read_table

NO_LOAD = (
    Column("time_s", "Time", "s", required=False, aliases=("time", "zeit"), minimum=0),
    Column("input_power_w", "Input power", "W", aliases=("power", "p in"), minimum=0, maximum=500),
    Column("input_voltage_v", "Input voltage", "V", required=False, aliases=("voltage",)),
    Column("power_factor", "Power factor", "", required=False, aliases=("pf",)),
)
THERMAL = (
    Column("time_s", "Time", "s", aliases=("time",)),
    Column("ambient_c", "Ambient temperature", "degC", required=False, aliases=("ambient",)),
    Column("*_c", "Sensor", "degC", minimum=-40, maximum=200),
)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


def read(file: Path, text: str | bytes, columns: tuple[Column, ...] = NO_LOAD) -> Reading:
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_table(file, columns, file_name="log.csv")


def table(reading: Reading) -> dict[str, list[float]]:
    assert reading.problems == ()
    assert reading.table is not None
    return {name: column.tolist() for name, column in reading.table.columns.items()}


def places(reading: Reading) -> list[tuple[int | None, str | None]]:
    assert reading.table is None
    assert reading.problem_count >= len(reading.problems) > 0
    return [(problem.row, problem.column) for problem in reading.problems]


def test_a_plain_file_is_read_in_canonical_units(file: Path) -> None:
    reading = read(file, "Zeit (min),Power [mW],PF\n0,75,0.4\n1.5,80.5,\n")
    found = table(reading)
    assert found["time_s"] == [0.0, 90.0]
    assert found["input_power_w"] == pytest.approx([0.075, 0.0805], rel=1e-12)
    assert found["power_factor"][0] == 0.4
    assert np.isnan(found["power_factor"][1])
    assert reading.table is not None
    assert reading.table.rows.tolist() == [2, 3]


def test_everything_recognised_is_told(file: Path) -> None:
    text = (
        "# bench 3\nMeter;A-17\n\nZeit;Power;Remark\nmin;mW;\n0;1.234,5;a\n\n1;2,25;b\n"
        "End of record\nchecked by nobody\n\n"
    )
    reading = read(file, text.encode("latin-1"))
    assert table(reading)["input_power_w"] == pytest.approx([1.2345, 0.00225], rel=1e-12)
    assert reading.table is not None
    assert reading.table.rows.tolist() == [6, 8]
    told = " ".join(reading.notes)
    for words in (
        "‘log.csv’ read as UTF-8 text.",
        "separated by semicolons",
        "3 lines above the headings skipped",
        "headings are in line 4",
        "Line 5 is a row of units",
        "‘Zeit’ read as time, min → s.",
        "‘Power’ read as input power, mW → W.",
        "left unread: ‘Remark’",
        "2 lines of text below the numbers skipped, from line 9 on",
        "decimal mark is a comma, and thousands are grouped",
    ):
        assert words in told


def test_a_bad_cell_is_named_by_line_and_heading_with_its_text(file: Path) -> None:
    reading = read(
        file,
        "Bench log\n\nTime [s],Power [mW],Voltage [V]\n0,1,230\n1,1/2,n/a\n\n,3,1e999\n"
        "3,NaN,230\n4,,230\n5,١,230\n",
    )
    assert places(reading) == [
        (5, "Power [mW]"),
        (5, "Voltage [V]"),
        (7, "Voltage [V]"),
        (8, "Power [mW]"),
        (9, "Power [mW]"),
        (10, "Power [mW]"),
    ]
    assert "‘1/2’" in reading.problems[0].detail


def test_an_infinite_or_overflowing_number_is_a_problem_also_when_all_else_is_plain(
    file: Path,
) -> None:
    assert places(read(file, "input_power_w\n1\n1e999\ninf\n")) == [
        (3, "input_power_w"),
        (4, "input_power_w"),
    ]
    assert places(read(file, "Power [MW]\n1e307\n")) == [(2, "Power [MW]")]


@pytest.mark.parametrize("word", ["TRUE", "True", "false"])
def test_words_of_logic_are_no_numbers_though_the_parser_would_take_them(
    file: Path, word: str
) -> None:
    assert places(read(file, f"time_s,input_power_w\n0,{word}\n1,{word}\n")) == [
        (2, "input_power_w"),
        (3, "input_power_w"),
    ]


def test_words_of_logic_are_found_across_the_seam_of_blocks(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for size in range(1, 12):
        monkeypatch.setattr(values, "BLOCK_BYTES", size)
        assert places(read(file, "time_s,input_power_w\n0,FALSE\n")) == [(2, "input_power_w")]


def test_a_value_out_of_bounds_hints_at_a_thousandfold_slip(file: Path) -> None:
    reading = read(file, "input_power_w\n75000\n-1\n1e9\n")
    assert places(reading) == [(row, "input_power_w") for row in (2, 3, 4)]
    details = [problem.detail for problem in reading.problems]
    assert "A thousandth would be possible" in details[0]
    assert "from 0 to 500 W" in details[1]
    assert "A thousandth" not in details[1]
    assert "A thousandth" not in details[2]
    small = (Column("input_voltage_v", "Input voltage", "V", minimum=80),)
    assert (
        "A thousand times as much"
        in read(file, "input_voltage_v\n0.23\n", small).problems[0].detail
    )


def test_a_bound_is_inclusive_after_conversion(file: Path) -> None:
    columns = (Column("ambient_c", "Ambient", "degC", minimum=0, maximum=100),)
    assert table(read(file, "Ambient [°F]\n32\n212\n", columns))["ambient_c"] == pytest.approx(
        [0.0, 100.0], abs=1e-9
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("\n \n", "blank lines only"),
        ("time_s,input_power_w\n", "no rows below"),
        ("time_s,input_power_w\nEnd of record\n", "no rows below"),
        ("hello,world\n1,2\n", "‘input_power_w’"),
        ("time_s,note\n1,2\n", "No column for input power"),
    ],
)
def test_a_file_without_a_table_is_refused_with_what_to_send(
    file: Path, text: str, said: str
) -> None:
    reading = read(file, text)
    assert len(reading.problems) == reading.problem_count == 1
    assert said in reading.problems[0].detail


def test_rows_of_another_length_are_named(file: Path) -> None:
    reading = read(file, "time_s,input_power_w\n0,1\n1\n2,3,4\n3,1,\n4,\n")
    assert places(reading) == [(3, None), (4, None)]
    assert "Cells in the row: 3, headings: 2" in reading.problems[1].detail


def test_separators_at_the_end_of_lines_begin_no_column(file: Path) -> None:
    for head, rows in (
        ("time_s;input_power_w;", "0;1;\n1;2;\n"),
        ("time_s;input_power_w", "0;1;\n1;2\n"),
    ):
        assert table(read(file, f"{head}\n{rows}"))["input_power_w"] == [1.0, 2.0]


def test_blank_rows_below_the_numbers_are_no_rows_but_between_them_they_are(file: Path) -> None:
    assert table(read(file, "time_s;input_power_w\n0;1\n;\n \n;\n"))["time_s"] == [0.0]
    assert places(read(file, "time_s;input_power_w\n0;1\n;\n1;2\n")) == [(3, "input_power_w")]
    assert table(read(file, "time_s;input_power_w\n0;1\n   \n1;2\n"))["time_s"] == [0.0, 1.0]


def test_text_is_a_footer_only_when_no_number_follows(file: Path) -> None:
    text = "time_s;input_power_w\n0;1\nPaused by hand\n1;2\n"
    assert places(read(file, text)) == [(3, None)]
    assert places(read(file, "time_s;input_power_w\n0;1\nn/a;n/a\n")) == [
        (3, "time_s"),
        (3, "input_power_w"),
    ]
    assert places(read(file, "input_power_w\n1\n1/2\n")) == [(3, "input_power_w")]
    filled_like_a_row = read(file, "time_s;input_power_w\n0;1\nstopped;overload\n")
    assert places(filled_like_a_row) == [(3, "time_s"), (3, "input_power_w")]


def test_quoted_cells_are_read_as_rfc_4180_has_them(file: Path) -> None:
    # RFC 4180, section 2, rules 5 to 7: quoted fields, with line break, comma, doubled quote.
    text = 'time_s,"note","input_power_w"\r\n0,"a\r\nb, ""c""","1.5"\r\n1,,x\r\n'
    assert places(read(file, text)) == [(4, "input_power_w")]
    reading = read(file, text.replace("x", "2"))
    assert table(reading)["input_power_w"] == [1.5, 2.0]
    assert reading.table is not None
    assert reading.table.rows.tolist() == [2, 4]


def test_a_quotation_mark_that_is_never_closed_is_named_by_the_line_it_stands_in(
    file: Path,
) -> None:
    text = 'time_s,input_power_w,note\n0,1,ok\n1,2,"open\n' + "2,3,ok\n" * 50
    assert places(read(file, text)) == [(3, None)]


def test_a_quotation_mark_in_the_preamble_swallows_nothing(file: Path) -> None:
    assert table(read(file, 'Rack 19"\n"time_s,input_power_w\ntime_s,input_power_w\n0,1\n')) == {
        "time_s": [0.0],
        "input_power_w": [1.0],
    }


def test_a_preamble_that_speaks_of_columns_is_not_the_headings(file: Path) -> None:
    text = "Ambient °C,25.1\ntime_s logged,see below\ntime_s,top_c\n0,30\n"
    assert table(read(file, text, THERMAL)) == {"time_s": [0.0], "top_c": [30.0]}


def test_headings_in_a_comment_are_taken_when_there_are_no_others(file: Path) -> None:
    assert table(read(file, "# time_s, input_power_w\n0,1\n"))["time_s"] == [0.0]
    both = "# time_s,input_power_w\ntime_s,input_power_w\n0,1\n"
    assert table(read(file, both))["time_s"] == [0.0]


def test_a_row_of_units_that_contradicts_a_heading_is_a_problem(file: Path) -> None:
    reading = read(file, "time_s,Power [W]\ns,mW\n0,1\n")
    assert places(reading) == [(1, "Power [W]")]


def test_a_first_row_of_ones_is_no_row_of_units(file: Path) -> None:
    assert table(read(file, "time_s,input_power_w\n1,1\n2,2\n"))["time_s"] == [1.0, 2.0]


def test_clock_stamps_become_elapsed_seconds(file: Path) -> None:
    text = "Time;Power [W]\n2026-01-31T23:59:59,5;0,5\n2026-02-01T00:00:01;0,6\n"
    reading = read(file, text)
    assert table(reading) == {"time_s": [0.0, 1.5], "input_power_w": [0.5, 0.6]}
    assert "The clock stamps of ‘Time’ are counted from the first." in reading.notes
    night = read(file, "time_s,input_power_w\n23:59:59,1\n00:00:01,2\n")
    assert table(night)["time_s"] == [0.0, 2.0]
    assert any("midnight" in note for note in night.notes)


def test_a_bad_clock_stamp_is_named(file: Path) -> None:
    reading = read(file, "Time,Power [W]\n12:00:00,1\n12:00:61,1\n31.1.2026,1\n")
    assert places(reading) == [(3, "Time"), (4, "Time")]


def test_times_without_unit_that_are_no_clock_stamps_are_a_problem(file: Path) -> None:
    reading = read(file, "Time,Power [W]\n0,1\n1,1\n")
    assert places(reading) == [(1, "Time")]
    assert "‘time_s’" in reading.problems[0].detail


def test_a_single_column_with_decimal_commas_is_read_and_a_doubtful_one_refused(
    file: Path,
) -> None:
    assert table(read(file, "input_power_w\n12\n0,25\n")) == {"input_power_w": [12.0, 0.25]}
    assert places(read(file, "input_power_w\n1,234\n")) == [(2, "input_power_w")]


def test_both_decimal_marks_in_one_file_are_a_problem(file: Path) -> None:
    assert places(read(file, "time_s;input_power_w\n0;1,5\n1;2.5\n")) == [(2, "input_power_w")]


def test_problems_are_capped_but_counted_and_in_the_order_of_the_file(file: Path) -> None:
    reading = read(file, "time_s,input_power_w\n" + "x,y\n" * 1000 + "1,1\n")
    assert reading.problem_count == 2000
    assert len(reading.problems) == 200
    assert [problem.row for problem in reading.problems] == [
        row for row in range(2, 102) for _ in range(2)
    ]
    uneven = read(file, "time_s,input_power_w\n" + "1,2,3\n" * 1000)
    assert (uneven.problem_count, len(uneven.problems)) == (1000, 200)


def test_limits_are_told_before_anything_is_parsed(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    long_line = read(file, "time_s,input_power_w\n0," + "1" * records.MAX_LINE_BYTES + "\n")
    assert places(long_line) == [(2, None)]
    assert "longer than 1,048,576 bytes" in long_line.problems[0].detail
    wide = read(file, ",".join(f"c{n}" for n in range(heading_lines.MAX_COLUMNS + 1)) + "\n")
    assert "more than 512 cells" in wide.problems[0].detail
    monkeypatch.setattr(records, "MAX_ROWS", 10)
    assert "more than 10 lines" in read(file, "input_power_w\n" + "1\n" * 11).problems[0].detail


def test_a_footer_a_quote_or_a_blank_line_at_the_seam_of_blocks_moves_no_row(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for size in range(1, 40):
        monkeypatch.setattr(records, "_BLOCK", size)
        reading = read(file, "time_s;input_power_w\r\n0;1\r\n\r\n10;2\r\n20;3\r\nThe end\r\n")
        assert table(reading) == {"time_s": [0.0, 10.0, 20.0], "input_power_w": [1.0, 2.0, 3.0]}
        assert reading.table is not None
        assert reading.table.rows.tolist() == [2, 4, 5]


def test_portions_of_text_are_joined_without_a_seam(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(portions, "_ROWS_AT_ONCE", 3)
    rows = "".join(f"12:00:{second:02d};{second}.000,5;x\n\n" for second in range(1, 10))
    reading = read(file, "Time;Power [mW];Note\n" + rows)
    found = table(reading)
    assert found["time_s"] == [float(second) for second in range(9)]
    assert found["input_power_w"] == pytest.approx([n + 0.0005 for n in range(1, 10)], rel=1e-12)
    bad = read(file, "Time;Power [mW]\n" + "12:00:00;1,5\n" * 7 + "12:00:00;x\n")
    assert places(bad) == [(9, "Power [mW]")]


def test_a_file_is_only_read(file: Path) -> None:
    read(file, "input_power_w\n1\n")
    file.chmod(0o444)
    before = file.stat()
    read_table(file, NO_LOAD, file_name="log.csv")
    assert (file.stat().st_mtime_ns, file.stat().st_size) == (before.st_mtime_ns, before.st_size)


def test_a_row_of_units_may_end_in_separators_as_its_headings_do(file: Path) -> None:
    found = table(read(file, "Zeit;Power;;\nmin;mW;;\n0;75;;\n1,5;80;;\n"))
    assert found["time_s"] == [0.0, 90.0]
    assert found["input_power_w"] == pytest.approx([0.075, 0.08], rel=1e-12)


def test_a_setting_above_the_table_is_no_heading(file: Path) -> None:
    text = "Meter;invented\nRange;1 W;20 mA\n\nZeit (min);Power (mW)\n0;75\n"
    assert table(read(file, text))["input_power_w"] == [0.075]
    # A channel that is called by its number is.
    found = table(read(file, "Time (s),101 (C),102 (°C)\n0,25,26\n", THERMAL))
    assert found.keys() == {"time_s", "101_c", "102_c"}
