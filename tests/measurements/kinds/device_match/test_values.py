"""The powers of devices, their uncertainties, the matrix and the facts."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.kinds.base import Accuracy
from measurements.kinds.device_match.pairs import pairs_from_facts
from tests.measurements.kinds.device_match.tables import (
    AMMETER,
    ROWS,
    VOLTMETER,
    Row,
    cell,
    flags_of,
    measured,
    setup,
    table,
    value,
)


def test_a_device_has_the_power_of_its_best_port() -> None:
    outcome = measured(table(ROWS), setup())
    assert [(item.condition.device, item.value) for item in outcome.values] == [
        ("slate-11", 45.0),
        ("folio-16", 90.0),
        ("pebble", 5.0),
    ]


def test_the_match_rate_is_not_computed_from_one_run() -> None:
    assert {item.metric for item in measured(table(ROWS), setup()).values} == {"matched-power"}


def test_voltage_and_current_combine_in_quadrature() -> None:
    # 15 V ± 0.1 V and 3 A ± 1 %: 3 · 0.1/√3 and 0.45/√3.
    power = value(measured(table(ROWS), setup()), "slate-11")
    assert power.standard_uncertainty == pytest.approx(math.hypot(0.3, 0.45) / math.sqrt(3))


def test_without_instruments_nothing_is_uncertain() -> None:
    power = value(measured(table(ROWS), setup(accuracies=())), "slate-11")
    assert power.standard_uncertainty == 0


def test_the_first_instrument_of_a_quantity_counts() -> None:
    coarse = Accuracy("Second", "output_current", reading_percent=20.0, fixed=1.0)
    one = measured(table(ROWS), setup())
    two = measured(table(ROWS), setup(accuracies=(VOLTMETER, AMMETER, coarse)))
    assert one.values == two.values
    assert "Meter I" in flags_of(two)["several-instruments"]


def test_a_device_that_drew_nothing_has_a_power_of_zero_and_a_flag() -> None:
    outcome = measured(table([("pebble", "C1", 5.0, 0.0), ("slate-11", "C1", 9.0, 2.0)]), setup())
    assert value(outcome, "pebble").value == 0
    assert "Pebble on C1" in flags_of(outcome)["no-power"]
    assert cell(outcome, "Pebble", "C1").mark == ""


def test_the_facts_are_the_pairs_and_read_back() -> None:
    outcome = measured(table(ROWS[:2], protocols=["usb-pd", " usb-pd-pps "]), setup())
    assert outcome.details.facts == {
        "pairs": [
            {
                "device": "slate-11",
                "port": "C1",
                "protocol": "usb-pd",
                "voltage_v": 15.0,
                "current_a": 3.0,
                "power_w": 45.0,
            },
            {
                "device": "slate-11",
                "port": "C2",
                "protocol": "usb-pd-pps",
                "voltage_v": 9.0,
                "current_a": 2.0,
                "power_w": 18.0,
            },
        ],
        "points": [
            {"device": "slate-11", "port": "C1"},
            {"device": "slate-11", "port": "C2"},
        ],
    }
    assert [pair.as_json() for pair in pairs_from_facts(outcome.details.facts)] == (
        outcome.details.facts["pairs"]
    )
    assert pairs_from_facts({}) == ()


def test_rows_are_devices_and_columns_ports_in_the_order_of_the_catalogue() -> None:
    outcome = measured(table(list(reversed(ROWS))), setup())
    (matrix,) = outcome.details.matrices
    assert matrix.rows == ("Pebble", "Folio 16", "Slate 11")
    assert matrix.columns == ("C1", "C2")
    assert [[item.value for item in row] for row in matrix.cells] == [
        [5.0, 4.0],
        [90.0, 30.0],
        [45.0, 18.0],
    ]
    assert matrix.title == ("Folio 16 draws at most 90.0 W, on C1; Pebble at most 5.0 W, on C1")


def test_the_title_of_a_single_device_names_it_once() -> None:
    (matrix,) = measured(table(ROWS[:2]), setup()).details.matrices
    assert matrix.title == "Slate 11 draws at most 45.0 W, on C1"


def test_the_best_port_of_a_device_is_marked() -> None:
    outcome = measured(table(ROWS), setup())
    assert cell(outcome, "Folio 16", "C1").mark == "best"
    assert cell(outcome, "Folio 16", "C2").mark == ""


def test_ports_within_the_uncertainty_of_the_best_are_best_too() -> None:
    # Ammeter ±1 %: U of the difference = 2 · √(0.45² + 0.44²)/√3 = 0.73 W.
    def marks(second: float) -> list[str]:
        rows = [("slate-11", "C1", 15.0, 3.0), ("slate-11", "C2", 15.0, second)]
        outcome = measured(table(rows), setup(accuracies=(AMMETER,)))
        return [cell(outcome, "Slate 11", port).mark for port in ("C1", "C2")]

    assert marks(2.96) == ["best", "best"]
    assert marks(2.94) == ["best", ""]


def test_a_device_on_one_port_has_no_best_port() -> None:
    outcome = measured(table([*ROWS[:2], ROWS[2]]), setup())
    assert cell(outcome, "Folio 16", "C1").mark == ""
    assert cell(outcome, "Folio 16", "C2").text == "not tried"


def test_the_listing_shows_every_row_with_its_shares() -> None:
    outcome = measured(table(ROWS[:2], protocols=["usb-pd", ""]), setup(accuracies=()))
    shown = {cell.mark for row in outcome.details.matrices[0].cells for cell in row if cell.value}
    assert any(mark.startswith("usb-pd") for mark in shown)
    (pairs,) = outcome.details.listings
    assert pairs.rows == (
        ("Slate 11", "C1", "usb-pd", "15.00", "3.000", "45.00", "0", "100", "100"),
        ("Slate 11", "C2", "", "9.00", "2.000", "18.00", "0", "40", "40"),
    )


def test_flags_of_a_whole_run_and_of_a_poor_one() -> None:
    assert flags_of(measured(table(ROWS), setup())) == {}
    flags = flags_of(measured(table(ROWS[:3]), setup(accuracies=())))
    assert set(flags) == {"untried-port", "no-instrument"}
    assert "Slate 11" in flags_of(measured(table(ROWS[:2]), setup()))["few-devices"]
    assert "Folio 16 on C2" in flags["untried-port"]
    assert "output voltage and output current" in flags["no-instrument"]


@settings(deadline=None)
@given(currents=st.lists(st.floats(0.1, 5.0), min_size=2, max_size=2), factor=st.floats(0.2, 3.0))
def test_the_power_follows_the_current_and_never_falls_with_another_port(
    currents: list[float], factor: float
) -> None:
    def most(values: list[float]) -> float:
        rows: list[Row] = [
            ("pebble", port, 9.0, current)
            for port, current in zip(("C1", "C2"), values, strict=False)
        ]
        return value(measured(table(rows), setup()), "pebble").value

    assert most(currents) == pytest.approx(9 * max(currents))
    assert most(currents) >= most(currents[:1])
    assert most([factor * current for current in currents]) == pytest.approx(
        factor * most(currents)
    )
