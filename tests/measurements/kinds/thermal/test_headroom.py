"""Headroom in every row of the table of touch limits, and the planned soaks.

IEC 62368-1:2018, Table 38: plastic 48, 77 and 94 °C were read in a public discussion of the table;
every other number here is from memory, which the pages have to say.
"""

from __future__ import annotations

from typing import Any

import pytest

from measurements.kinds.base import AdapterFacts, Cell, Matrix, PortFacts, Setup
from measurements.kinds.thermal import KIND
from measurements.metrics.touch import touch_rows
from tests.measurements.kinds.thermal.records import heating, measured, record, setup, value


def matrix_of(**columns: Any) -> Matrix:
    outcome = measured(record(ambient_c=25.0, **columns), setup(materials={"prongs": "metal"}))
    (matrix,) = outcome.details.matrices
    return matrix


def cell(matrix: Matrix, row: str, column: str) -> Cell:
    return matrix.cells[matrix.rows.index(row)][matrix.columns.index(column)]


def test_every_row_of_the_table_has_its_headroom() -> None:
    matrix = matrix_of(top_c=71.0, prongs_c=58.0)
    assert matrix.rows == ("top (plastic)", "prongs (metal)")
    assert matrix.columns == (
        "TS1, over 1 min",
        "TS1, 10 s to 1 min",
        "TS1, 1 s to 10 s",
        "TS1, under 1 s",
        "TS2, over 1 min",
        "TS2, 10 s to 1 min",
        "TS2, 1 s to 10 s",
        "TS2, under 1 s",
    )
    assert [item.value for item in matrix.cells[0]] == [-23, -11, 6, 23, -13, -1, 16, 33]
    assert [item.value for item in matrix.cells[1]] == [-10, -7, 2, 12, 0, 3, 12, 22]


def test_one_column_counts_and_says_why() -> None:
    matrix = matrix_of(top_c=71.0, prongs_c=58.0)
    for row in matrix.cells:
        assert [item.mark for item in row] == ["", "", "counts", "", "", "", "", ""]
    assert "unplugged" in cell(matrix, "top (plastic)", "TS1, 1 s to 10 s").note
    assert "unplugged" not in cell(matrix, "top (plastic)", "TS1, under 1 s").note
    assert (
        matrix.title == "prongs is 2.0 K below its limit in the row that counts, TS1, 1 s to 10 s"
    )


def test_a_limit_from_memory_is_said_to_be_so_in_cell_and_listing() -> None:
    matrix = matrix_of(top_c=71.0, prongs_c=58.0)
    assert "from memory" in cell(matrix, "prongs (metal)", "TS1, 1 s to 10 s").note
    assert "from memory" not in cell(matrix, "top (plastic)", "TS1, 1 s to 10 s").note
    assert "from memory" in cell(matrix, "top (plastic)", "TS2, 1 s to 10 s").note


def test_the_listing_gives_limit_standing_and_warmest_sensor_of_every_material() -> None:
    table = record(ambient_c=25.0, top_c=71.0, side_c=60.0, prongs_c=61.5)
    outcome = measured(table, setup(materials={"prongs": "metal"}))
    (listing,) = outcome.details.listings
    assert len(listing.rows) == 16
    assert {len(row) for row in listing.rows} == {len(listing.headings)}
    chosen = [row for row in listing.rows if row[-1] == "yes"]
    assert [row[:6] for row in chosen] == [
        ("plastic", "TS1", "1 s to 10 s", "77", "top", "6.0"),
        ("metal", "TS1", "1 s to 10 s", "60", "prongs", "−1.5"),
    ]
    assert "from memory" in chosen[1][6]
    assert "judgement" in listing.note
    assert "worn on the body over 8 h is left out" in listing.note


def test_the_listing_says_when_the_room_was_off() -> None:
    outcome = measured(record(ambient_c=31.0, top_c=60.0), setup())
    assert "31 °C" in outcome.details.listings[0].note


def test_the_facts_agree_with_the_value_that_is_ranked() -> None:
    table = record(ambient_c=25.0, top_c=heating(45), prongs_c=heating(30))
    outcome = measured(table, setup(materials={"prongs": "metal"}))
    facts = outcome.details.facts["headroom"]
    assert len(facts) == 16
    chosen = [entry["headroom_k"] for entry in facts if entry["chosen"]]
    assert value(outcome, "thermal-headroom").value == pytest.approx(min(chosen))


def test_a_longer_touch_always_leaves_less_room() -> None:
    for material in ("metal", "glass", "plastic", "wood"):
        limits = [row.limit.value for row in touch_rows(material)]
        for group in (limits[:4], limits[4:]):
            assert group == sorted(group)
        assert sum(row.is_chosen for row in touch_rows(material)) == 1


def test_an_unknown_material_has_no_rows() -> None:
    with pytest.raises(KeyError, match="leather"):
        touch_rows("leather")


class TestPlan:
    def test_an_hour_at_either_mains_voltage_on_the_strongest_port(self) -> None:
        adapter = AdapterFacts(
            rated_power_w=100.0,
            ports=(PortFacts("A1", "usb-a", 18.0), PortFacts("C1", "usb-c", 100.0)),
        )
        high, low = KIND.plan(Setup(adapter))
        assert high.fields == {"mains_v": 230.0, "mains_hz": 50.0, "port": "C1"}
        assert low.fields == {"mains_v": 115.0, "mains_hz": 60.0, "port": "C1"}
        assert high.title == "An hour at full load on C1, 230 V mains"
        assert "Load 100 W" in high.note
        for run in (high, low):
            assert run.log
            assert run.rows == ()
            assert {"time_s", "ambient_c", "output_power_w"} < set(run.columns)

    def test_an_adapter_without_ports_names_none(self) -> None:
        high, _ = KIND.plan(Setup(AdapterFacts(rated_power_w=20.0)))
        assert high.fields == {"mains_v": 230.0, "mains_hz": 50.0}
        assert "Load 20 W" in high.note
