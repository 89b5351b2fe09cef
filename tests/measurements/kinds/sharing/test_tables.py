"""The matrix of combinations and ports, and the label's claims."""

from __future__ import annotations

import pytest

from measurements.kinds.base import Cell
from tests.measurements.kinds.sharing.tables import (
    AMMETER,
    PAIR,
    Row,
    cell,
    listing,
    measured,
    setup,
    table,
)


def test_rows_are_combinations_and_columns_ports_in_the_order_of_the_catalogue() -> None:
    rows = [("A1+C1", "A1", 5.0, 2.0), ("A1+C1", "C1", 20.0, 3.0), ("C1", "C1", 20.0, 5.0)]
    outcome = measured(table(rows), setup())
    (matrix,) = outcome.details.matrices
    assert matrix.rows == ("A1+C1", "C1")
    assert matrix.columns == ("C1", "A1", "Total")
    assert [[item.value for item in row] for row in matrix.cells] == [
        [60.0, 10.0, 70.0],
        [100.0, None, 100.0],
    ]
    assert cell(outcome, "C1", "A1") == Cell(text="–")


def test_the_title_is_the_finding() -> None:
    (matrix,) = measured(table(PAIR), setup()).details.matrices
    assert matrix.title == "At most 83.0 W together, with C1+C2: 83 % of the rated 100 W"
    (matrix,) = measured(table(PAIR[:1]), setup()).details.matrices
    assert "No combination" in matrix.title


def test_a_port_without_a_row_is_said_to_be_missing() -> None:
    outcome = measured(table(PAIR[:1]), setup())
    assert cell(outcome, "C1+C2", "C2").text == "not measured"
    assert cell(outcome, "C1+C2", "Total").text == "incomplete"
    assert cell(outcome, "C1+C2", "Total").value is None


def test_a_port_that_returns_to_five_volts_is_marked() -> None:
    rows: list[Row] = [
        ("C1", "C1", 20.0, 3.0),
        ("C1+C2", "C1", 5.1, 3.0),
        ("C1+C2", "C2", 5.1, 2.4),
    ]
    outcome = measured(table(rows), setup())
    assert cell(outcome, "C1+C2", "C1").mark == "falls to 5 V"
    assert "20.00 V" in cell(outcome, "C1+C2", "C1").note
    # C2 has never been above 5 V, so that it did not fall.
    assert cell(outcome, "C1+C2", "C2").mark == ""
    assert cell(outcome, "C1", "C1").mark == ""


@pytest.mark.parametrize(
    ("here", "elsewhere", "mark"),
    [(5.49, 6.01, "falls to 5 V"), (5.5, 9.0, ""), (5.0, 6.0, ""), (5.0, 5.9, "")],
)
def test_the_bounds_of_a_fall_to_five_volts(here: float, elsewhere: float, mark: str) -> None:
    rows = [("C1", "C1", elsewhere, 1.0), ("C1+C2", "C1", here, 1.0), ("C1+C2", "C2", 9.0, 1.0)]
    assert cell(measured(table(rows), setup()), "C1+C2", "C1").mark == mark


@pytest.mark.parametrize(("current", "mark"), [(0.0, "no power"), (0.05, "no power"), (0.1, "")])
def test_a_port_without_power_is_marked(current: float, mark: str) -> None:
    rows = [("C1+C2", "C1", 5.0, current), ("C1+C2", "C2", 9.0, 1.0)]
    assert cell(measured(table(rows), setup()), "C1+C2", "C1").mark == mark


@pytest.mark.parametrize(
    ("rated", "mark"), [(82.0, "above rating"), (82.1, ""), (83.0, ""), (90.0, "")]
)
def test_a_total_is_above_the_rating_only_beyond_its_uncertainty(rated: float, mark: str) -> None:
    # Ammeter ±1 % of 83 W: U = 2 · 0.83/√3 = 0.958 W, so that 82.04 W is the bound.
    outcome = measured(table(PAIR), setup(rated=rated, accuracies=[AMMETER]))
    assert cell(outcome, "C1+C2", "Total").mark == mark


def test_shares_of_the_ports_and_the_adapters_rating() -> None:
    outcome = measured(table(PAIR), setup((("C1", 65.0), ("C2", None)), accuracies=()))
    assert listing(outcome, "ports").rows == (
        ("C1+C2", "C1", "20.00", "3.250", "65.00", "0", "100.0", "65.0"),
        ("C1+C2", "C2", "9.00", "2.000", "18.00", "0", "", "18.0"),
    )


@pytest.mark.parametrize(
    ("stated", "outcome"),
    [(60.0, "met"), (64.9, "undecided"), (65.5, "undecided"), (70.0, "not met")],
)
def test_a_claim_is_judged_with_a_guard_band(stated: float, outcome: str) -> None:
    # Ammeter ±1 % of 65 W: U = 0.75 W.
    given = setup(claims=[("C1+C2", "C1", stated)], accuracies=[AMMETER])
    (row,) = listing(measured(table(PAIR), given), "claims").rows
    assert row == ("C1+C2", "C1", f"{stated:g}", "C1+C2", "65.00", "0.75", outcome)


def test_a_claim_holds_for_every_order_of_plugging_in() -> None:
    rows = [*PAIR, ("C2+C1", "C1", 9.0, 3.0), ("C2+C1", "C2", 9.0, 3.0)]
    given = setup(claims=[("c1 + c2", "c1", 60.0)])
    assert [(row[3], row[6]) for row in listing(measured(table(rows), given), "claims").rows] == [
        ("C1+C2", "met"),
        ("C2+C1", "not met"),
    ]


def test_claims_for_several_orders_count_each_for_its_own() -> None:
    rows = [*PAIR, ("C2+C1", "C1", 9.0, 3.0), ("C2+C1", "C2", 9.0, 3.0)]
    given = setup(claims=[("C1+C2", "C1", 60.0), ("C2+C1", "C1", 25.0)])
    assert [
        (row[0], row[3], row[6]) for row in listing(measured(table(rows), given), "claims").rows
    ] == [("C1+C2", "C1+C2", "met"), ("C2+C1", "C2+C1", "met")]


@pytest.mark.parametrize(
    "claim",
    [
        ("C1+A1", "C1", 60.0),
        ("C1+C2", "A1", 60.0),
        ("C1+C9", "C1", 60.0),
        ("C1+C2", "", 60.0),
        ("", "C1", 60.0),
        ("C1+C1", "C1", 60.0),
    ],
)
def test_a_claim_without_a_row_is_not_tested(claim: tuple[str, str, float]) -> None:
    (row,) = listing(measured(table(PAIR), setup(claims=[claim])), "claims").rows
    assert row[3:] == ("", "", "", "not tested")


def test_without_claims_there_is_no_listing_of_claims() -> None:
    keys = [item.key for item in measured(table(PAIR), setup()).details.listings]
    assert "claims" not in keys
