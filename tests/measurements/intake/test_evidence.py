"""How a file was understood is told, also where that made no table; and how far reading is."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from measurements.intake.columns import Column
from measurements.intake.evidence import Evidence
from measurements.intake.tables import read_table

COLUMNS = (
    Column("time_s", "Time", "s", required=False, aliases=("time",)),
    Column("input_power_w", "Input power", "W", aliases=("power",)),
)


def seen_in(folder: Path, content: str) -> Evidence:
    path = folder / "log"
    path.write_text(content, encoding="utf-8")
    evidence = read_table(path, COLUMNS, file_name="log").evidence
    assert evidence is not None
    return evidence


def test_everything_that_was_recognised_with_its_place(tmp_path: Path) -> None:
    evidence = seen_in(tmp_path, "bench 3\nTime;Power;Note\nmin;mW;\n0;1,5;x\n1;1,75;y\n")
    assert (evidence.format, evidence.encoding, evidence.separator) == (
        "text",
        "UTF-8",
        "semicolon",
    )
    assert (evidence.row, evidence.unit_row, evidence.line) == (2, 3, "Time;Power;Note")
    assert (evidence.decimal, evidence.decimal_open) == (",", False)
    assert [
        (item.text, item.unit_text, item.column, item.read_unit, item.by, item.example)
        for item in evidence.headings
    ] == [
        ("Time", "min", "time_s", "min", "alias", "0"),
        ("Power", "mW", "input_power_w", "mW", "alias", "1,5"),
        ("Note", "", "", None, "", "x"),
    ]


@pytest.mark.parametrize(
    ("headings", "asked"),
    [
        ("time_s,Power [W],Power [mW]", [(), ("input_power_w",), ("input_power_w",)]),
        ("time_s,input_power_w,input_power_w", [(), ("input_power_w",), ("input_power_w",)]),
        ("time_s,Power [mV],Rest", [(), ("input_power_w",), ()]),
        ("time_s,Wall [W],Lamp [W]", [(), ("input_power_w",), ("input_power_w",)]),
    ],
)
def test_headings_in_doubt_say_what_they_could_be(
    headings: str, asked: list[tuple[str, ...]], tmp_path: Path
) -> None:
    evidence = seen_in(tmp_path, f"{headings}\n0,1,2\n")
    assert [item.could_be for item in evidence.headings] == asked


def test_the_line_most_like_headings_where_none_is_known(tmp_path: Path) -> None:
    evidence = seen_in(tmp_path, "Bench;3\nroom: 2\nalpha;beta;gamma\n1;2,5;3\n2;3,5;4\n")
    assert evidence.row == 3
    assert [(item.text, item.example) for item in evidence.headings] == [
        ("alpha", "1"),
        ("beta", "2,5"),
        ("gamma", "3"),
    ]


def test_prose_has_no_headings(tmp_path: Path) -> None:
    evidence = seen_in(tmp_path, "Dear bench,\nthe adapter came back, and it hums.\n")
    assert evidence.headings == ()
    assert evidence.row is None


def test_a_file_for_the_whole_list_of_problems_has_all_of_them_in_order(tmp_path: Path) -> None:
    path = tmp_path / "log"
    path.write_text("time_s,input_power_w\n" + "".join(f"{at},x\ny,1\n" for at in range(150)))
    few = read_table(path, COLUMNS, file_name="log")
    every = read_table(path, COLUMNS, file_name="log", problems_kept=10_000)
    assert few.problem_count == every.problem_count == 300
    assert len(few.problems) == 200
    assert [problem.row for problem in every.problems] == list(range(2, 302))


def as_csv(rows: int) -> bytes:
    return b"time_s,input_power_w\n" + b"".join(b"%d,1\n" % at for at in range(rows))


def as_stamped_csv(rows: int) -> bytes:
    lines = (b"%02d:%02d:%02d,1\n" % (at // 3600, at // 60 % 60, at % 60) for at in range(rows))
    return b"time,input_power_w\n" + b"".join(lines)


def as_parquet(rows: int) -> bytes:
    buffer = io.BytesIO()
    pq.write_table(pa.table({"time_s": range(rows), "input_power_w": [1.0] * rows}), buffer)
    return buffer.getvalue()


def as_arrays(rows: int) -> bytes:
    buffer = io.BytesIO()
    np.savez(buffer, time_s=np.arange(rows), input_power_w=np.ones(rows))
    return buffer.getvalue()


@pytest.mark.parametrize("write", [as_csv, as_stamped_csv, as_parquet, as_arrays])
def test_the_share_that_was_read_grows_to_the_whole(write: object, tmp_path: Path) -> None:
    path = tmp_path / "log"
    path.write_bytes(write(60_000))  # type: ignore[operator]
    shares: list[float] = []
    assert read_table(path, COLUMNS, file_name="log", told=shares.append).table is not None
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert len(shares) < 300
