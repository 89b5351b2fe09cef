"""The scan that is asked for, and that its sheet can be filled in and sent."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from measurements.intake.tables import read_table
from measurements.kinds.base import Setup
from measurements.kinds.coverage import held_points
from measurements.kinds.port_scan.kind import KIND
from tests.measurements.kinds.port_scan.tables import WORDS_65_W, adapter, measured, rows_of


@pytest.mark.parametrize(("rated_power_w", "positions"), [(65, 7), (100, 7), (140, 11)])
def test_every_port_of_power_delivery_has_the_positions_it_may_use(
    rated_power_w: float, positions: int
) -> None:
    (run,) = KIND.plan(Setup(adapter("C1", "C2", rated_power_w=rated_power_w)))
    assert not run.log
    assert all(len(row) == len(run.columns) for row in run.rows)
    assert [row[:2] for row in run.rows] == [
        (label, float(place)) for label in ("C1", "C2") for place in range(1, positions + 1)
    ]


def test_a_port_without_power_delivery_has_one_row_for_its_protocol() -> None:
    (run,) = KIND.plan(Setup(adapter("A1", "C1", "A2")))
    assert [row for row in run.rows if row[0] != "C1"] == [
        ("A1", None, None, None),
        ("A2", None, None, None),
    ]
    assert len(run.rows) == 9


def test_without_ports_nothing_is_planned() -> None:
    assert KIND.plan(Setup(adapter())) == ()


def test_a_scan_holds_the_rows_of_the_ports_that_it_found() -> None:
    facts = adapter("C1", "C2", "A1")
    (run,) = KIND.plan(Setup(facts))
    # The words of C2 were not read, and the plan asks for nothing else of it.
    protocols = [("C2", None, "", "pps"), ("A1", None, "", "bc-dcp")]
    outcome = measured([*rows_of("C1", WORDS_65_W), *protocols], facts)
    held = held_points(run, facts=outcome.details.facts)
    assert {run.rows[place][0] for place in held} == {"C1", "A1"}
    assert len(held) == 8


def test_a_sheet_filled_in_for_one_port_is_read(tmp_path: Path) -> None:
    facts = adapter("C1", "C2")
    (run,) = KIND.plan(Setup(facts))
    sheet = [list(row) for row in run.rows]
    sheet[0][2], sheet[1][2] = "0x0801912C", "0x0002D12C"
    file = io.StringIO()
    csv.writer(file).writerows([run.columns, *sheet, ("C2", "", "", "bc-dcp")])
    path = tmp_path / "scan.csv"
    path.write_text(file.getvalue(), "utf-8")
    reading = read_table(path, KIND.columns, file_name="scan.csv")
    assert reading.table is not None, reading.problems
    assert KIND.check(reading.table, Setup(facts)) == ()
    ports = KIND.measure(reading.table, Setup(facts)).details.facts["ports"]
    assert ports == [
        {"port": "C1", "words": ["0x0801912C", "0x0002D12C"], "unread": [], "protocols": []},
        {"port": "C2", "words": [], "unread": [], "protocols": ["bc-dcp"]},
    ]
