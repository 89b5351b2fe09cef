"""Columns of text beside numbers: matched by name, kept as written, never taken for numbers."""

from __future__ import annotations

import csv
import io
import tempfile
from pathlib import Path
from typing import Literal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from measurements.intake import portions
from measurements.intake.columns import Column, Reading
from measurements.intake.tables import read_table
from measurements.intake.texts import LONGEST_TEXT, bare_text, text_fault

SCAN = (
    Column("port", "Port", "", aliases=("socket", "outlet"), type="text"),
    Column("position", "Position", "", required=False, aliases=("pos",)),
    Column("word", "Word", "", required=False, aliases=("pdo", "word (hex)"), type="text"),
)
DEVICES = (
    Column("device", "Device", "", type="text"),
    Column("port", "Port", "", type="text"),
    Column("voltage_v", "Voltage", "V", aliases=("voltage",)),
    Column("remark", "Remark", "", required=False, type="text"),
)
WORDS = (
    Column("port", "Port", "", type="text"),
    Column("protocol", "Protocol", "", required=False, type="text"),
)
QUICK = settings(
    max_examples=100,
    deadline=None,  # the machine is shared
    suppress_health_check=[HealthCheck.too_slow],
)


def read(text: str | bytes, columns: tuple[Column, ...] = SCAN) -> Reading:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scan.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_table(path, columns, file_name="scan.csv")


def texts(reading: Reading) -> dict[str, list[str]]:
    assert reading.problems == ()
    assert reading.table is not None
    assert all(len(column) == len(reading.table) for column in reading.table.texts.values())
    return {name: list(column) for name, column in reading.table.texts.items()}


def places(reading: Reading) -> list[tuple[int | None, str | None]]:
    assert reading.table is None
    return [(problem.row, problem.column) for problem in reading.problems]


def test_text_is_read_beside_numbers() -> None:
    reading = read("port,position,word\nC1,1,0x0001912C\nC1,2,0002D12C\nA1,,\n")
    assert texts(reading) == {
        "port": ["C1", "C1", "A1"],
        "word": ["0x0001912C", "0002D12C", ""],
    }
    assert reading.table is not None
    assert reading.table["position"].tolist()[:2] == [1, 2]
    assert reading.table.rows.tolist() == [2, 3, 4]
    assert "port" in reading.table
    assert "word" in reading.table
    assert "‘port’ read as port, as text." in reading.notes


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("dress", [str.upper, str.title, lambda text: f'" {text}\u00a0"'])
def test_headings_are_found_in_any_dress(separator: str, dress: object) -> None:
    assert callable(dress)
    names = ("socket", "pos", "word (hex)")
    head = separator.join(dress(name) for name in names)
    row = separator.join(("C1", "1", "0x0001912C"))
    found = texts(read(f"# bench\nScan of C1\n\n{head}\n{row}\n"))
    assert found == {"port": ["C1"], "word": ["0x0001912C"]}


def test_a_unit_in_the_heading_makes_it_another_name() -> None:
    reading = read("Port [V],word\nC1,0x0001912C\n")
    assert places(reading) == [(1, None)]
    assert "No column for port" in reading.problems[0].detail


def test_a_table_of_text_alone_says_nothing_of_decimal_marks() -> None:
    reading = read("port;protocol\nC1;qc3.0\nC2;1,5\n", WORDS)
    assert texts(reading) == {"port": ["C1", "C2"], "protocol": ["qc3.0", "1,5"]}
    assert reading.table is not None
    assert reading.table.columns == {}
    assert not any("decimal mark" in note for note in reading.notes)


def test_a_single_column_of_text_keeps_its_commas_and_its_last_row() -> None:
    reading = read("port\nLeft, lower\nRight\n", (WORDS[0],))
    assert texts(reading) == {"port": ["Left, lower", "Right"]}


def test_text_is_no_evidence_of_decimal_mark_or_clock() -> None:
    # Beside a point in the number, a remark of 1.234,5 would settle on the comma.
    text = "device;port;voltage_v;remark\n12:00:00;C1;5.01;1.234,5\n12:00:01;C1;5,02;3,5\n"
    reading = read(text.replace("5,02", "5.02"), DEVICES)
    assert texts(reading)["device"] == ["12:00:00", "12:00:01"]
    assert reading.table is not None
    assert reading.table["voltage_v"].tolist() == [5.01, 5.02]
    assert places(read(text, DEVICES)) == [(3, "voltage_v")]


@pytest.mark.parametrize("word", ["true", "NaN", "NA", "null", "1e5", "007", "1,000", "-", "#5"])
def test_what_elsewhere_is_no_text_is_kept_as_written(word: str) -> None:
    reading = read(f'device,port,voltage_v\n"{word}",C1,5\n"{word}",{word[:1]},6\n', DEVICES)
    assert texts(reading)["device"] == [word, word]
    assert reading.table is not None
    assert reading.table["voltage_v"].tolist() == [5, 6]


def test_a_preamble_that_names_the_port_is_not_the_headings() -> None:
    text = "Port,C1\nOperator,somebody\nport,position,word\nC1,1,0x0001912C\n"
    assert texts(read(text)) == {"port": ["C1"], "word": ["0x0001912C"]}


@pytest.mark.parametrize("row", ["A,", "V,A", "C,-", "K,W"])
def test_a_port_called_like_a_unit_is_no_row_of_units(row: str) -> None:
    reading = read(f"port,protocol\n{row}\n", WORDS)
    assert texts(reading) == {"port": [row[0]], "protocol": [row[2:]]}


@pytest.mark.parametrize("rows", ["C1,1,0x0001912C\nC1,2,0x0002D12C\n", "C1,,\nC2,,\n"])
def test_rows_without_headings_are_refused_with_what_to_write(rows: str) -> None:
    reading = read(rows)
    assert places(reading) == [(None, None)]
    assert "‘port’" in reading.problems[0].detail


def test_a_row_of_units_leaves_the_columns_of_text_out() -> None:
    reading = read("device;port;voltage;remark\n-;;mV;\nX;A;5000;\n", DEVICES)
    assert texts(reading)["port"] == ["A"]
    assert reading.table is not None
    assert reading.table["voltage_v"].tolist() == [5.0]


def test_rows_of_words_at_the_end_are_rows_and_remarks_are_not() -> None:
    scan = "port,position,word\nC1,1,0x0001912C\nLeft,,\n"
    assert texts(read(scan))["port"] == ["C1", "Left"]
    assert texts(read(f"{scan}End of scan\nchecked by nobody\n"))["port"] == ["C1", "Left"]
    devices = "device,port,voltage_v,remark\nslab,Left,5,\nslab,Left,,\n"
    assert places(read(devices, DEVICES)) == [(3, "voltage_v")]
    # A row that was cut off is named, not taken for a remark.
    assert places(read("device,port,voltage_v\nslab,Left,5\nslab,Left\n", DEVICES)) == [(3, None)]
    spread = "device,port,voltage_v,remark\nslab,Left,5,\nEnd of record,,,\n"
    assert texts(read(spread, DEVICES))["device"] == ["slab"]


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("", "blank, but every row needs port"),
        ("\u00a0\u200b \ufeff", "blank, but every row needs port"),
        ("x" * 201, "201 characters"),
        ("C1\x07", "control character"),
        ("C1\nC2", "control character"),
        ("C1\tC2", "control character"),
        ("C1\u2028C2", "control character"),
        ("C1\x85", "control character"),
    ],
)
def test_a_bad_cell_is_named_by_line_and_heading(cell: str, said: str) -> None:
    reading = read(f'port,word\nC1,0x0001912C\n"{cell}",0x0001912C\n')
    assert places(reading) == [(3, "port")]
    assert said in reading.problems[0].detail
    assert reading.problems[0].detail.isprintable()


def test_a_text_of_the_longest_length_is_read() -> None:
    assert texts(read(f"port\n{'é' * LONGEST_TEXT}\n"))["port"] == ["é" * LONGEST_TEXT]


def test_bad_cells_are_capped_but_counted() -> None:
    reading = read("port,word\n" + 'C1,"a\tb"\n' * 300 + "C1,0x0\n")
    assert reading.problem_count == 300
    assert [problem.row for problem in reading.problems] == list(range(2, 202))


def test_portions_of_text_are_joined_without_a_seam(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(portions, "_ROWS_AT_ONCE", 3)
    reading = read("port,position\n" + "".join(f"C{at},{at}\n\n" for at in range(1, 11)))
    assert texts(reading)["port"] == [f"C{at}" for at in range(1, 11)]
    assert reading.table is not None
    assert reading.table["position"].tolist() == list(range(1, 11))


PRINTABLE = st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"])
BLANK = st.text(st.sampled_from(" \t\u00a0\u2003\u200b\u2060\ufeff\u3000"), max_size=3)
# A letter or digit at either end, so that what must be kept is known without the code under test.
SOLID = st.from_regex(r"[0-9A-Za-zäß漢]", fullmatch=True)
CORE = st.one_of(SOLID, st.builds("{}{}{}".format, SOLID, st.text(PRINTABLE, max_size=20), SOLID))
ROWS = st.lists(
    st.tuples(CORE, CORE | st.just(""), st.floats(0, 50).map(str), BLANK, BLANK),
    min_size=1,
    max_size=12,
)


@QUICK
@given(
    rows=ROWS,
    separator=st.sampled_from([",", ";", "\t", "|"]),
    line_end=st.sampled_from(["\n", "\r\n"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_any_printable_text_comes_back_without_the_blanks_around_it(
    *,
    rows: list[tuple[str, str, str, str, str]],
    separator: str,
    line_end: str,
    quoting: Literal[0, 1],
    encoding: str,
) -> None:
    file = io.StringIO()
    writer = csv.writer(file, delimiter=separator, lineterminator=line_end, quoting=quoting)
    writer.writerow(["device", "port", "voltage_v", "remark"])
    for device, remark, voltage, before, after in rows:
        writer.writerow([before + device + after, "C1", voltage, after + remark + before])
    reading = read(file.getvalue().encode(encoding), DEVICES)
    found = texts(reading)
    assert found["device"] == [row[0] for row in rows]
    assert found["remark"] == [row[1] for row in rows]
    assert reading.table is not None
    assert reading.table["voltage_v"].tolist() == [float(row[2]) for row in rows]


@QUICK
@given(st.lists(st.tuples(CORE, CORE | st.just("")), min_size=1, max_size=12))
def test_no_row_of_a_table_of_text_is_lost(rows: list[tuple[str, str]]) -> None:
    file = io.StringIO()
    csv.writer(file).writerows([("port", "protocol"), *rows])
    found = texts(read(file.getvalue(), WORDS))
    assert list(zip(found["port"], found["protocol"], strict=True)) == rows


@given(st.text())
def test_stripping_twice_changes_nothing_and_leaves_no_blank_at_the_ends(cell: str) -> None:
    bare = bare_text(cell)
    assert bare_text(bare) == bare
    assert bare in cell
    if bare and not text_fault(bare, title="port", required=True):
        assert bare == bare.strip()


SEED = b"# bench\nport;position;word\nC1;1;0x0001912C\nA1;;\nLeft;2;\nEnd of scan\n"
SNIPPETS = [b'"', b";", b",", b"\t", b"\n", b"\r", b"\0", b"\xff", b"\xff\xfe", b"1e999", b"port"]
SNIPPETS += [b"\x85", b"\xe2\x80\xa8", b"A", b"V", b"[V]", b"#", b" ", "\u202e".encode()]


@QUICK
@given(
    st.lists(
        st.tuples(st.integers(0, len(SEED)), st.integers(0, 12), st.sampled_from(SNIPPETS)),
        min_size=1,
        max_size=6,
    ),
    st.sampled_from([SCAN, DEVICES, WORDS]),
)
def test_any_damage_to_a_table_of_text_is_answered(
    damages: list[tuple[int, int, bytes]], columns: tuple[Column, ...]
) -> None:
    data = SEED
    for at, length, snippet in damages:
        data = data[:at] + snippet + data[at + length :]
    reading = read(data, columns)
    if reading.table is None:
        assert reading.problem_count > 0
        assert all(problem.detail for problem in reading.problems)
        return
    assert reading.problem_count == 0
    assert all(reading.table.texts["port"])


@QUICK
@given(st.binary(max_size=300))
def test_any_bytes_are_answered(data: bytes) -> None:
    reading = read(data)
    assert (reading.table is None) == (reading.problem_count > 0)
