"""The scan that is asked for, and that its sheet can be filled in and sent."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from measurements.intake.tables import read_table
from measurements.kinds.base import AdapterFacts, Setup
from measurements.kinds.port_scan.kind import KIND
from tests.measurements.kinds.port_scan.tables import adapter


@pytest.mark.parametrize(("rated_power_w", "positions"), [(65, 7), (100, 7), (140, 11)])
def test_every_port_of_power_delivery_has_the_positions_it_may_use(
    rated_power_w: float, positions: int
) -> None:
    (run,) = KIND.plan(adapter("C1", "A1", "C2", rated_power_w=rated_power_w))
    assert not run.log
    assert all(len(row) == len(run.columns) for row in run.rows)
    assert [row[:2] for row in run.rows] == [
        (label, float(place)) for label in ("C1", "C2") for place in range(1, positions + 1)
    ]


@pytest.mark.parametrize("facts", [adapter(), adapter("A1")])
def test_without_such_a_port_nothing_is_planned(facts: AdapterFacts) -> None:
    assert KIND.plan(facts) == ()


def test_a_sheet_filled_in_for_one_port_is_read(tmp_path: Path) -> None:
    facts = adapter("C1", "C2")
    (run,) = KIND.plan(facts)
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
