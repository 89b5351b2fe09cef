"""Flags: what a reader should know beside the values."""

from __future__ import annotations

import math

import pytest

from measurements.kinds import base, method_notes
from measurements.kinds.sharing import KIND
from tests.measurements.kinds.sharing.tables import (
    AMMETER,
    PAIR,
    POWER_METER,
    VOLTMETER,
    Row,
    flags_of,
    measured,
    setup,
    table,
)

TWO_PORTS = (("C1", 65.0), ("C2", 30.0))


def both_orders(second: float) -> list[Row]:
    return [
        ("C1+C2", "C1", 20.0, 3.0),
        ("C1+C2", "C2", 10.0, 2.0),
        ("C2+C1", "C1", 20.0, second),
        ("C2+C1", "C2", 10.0, 2.0),
    ]


def test_a_whole_run_with_instruments_has_no_flag() -> None:
    assert flags_of(measured(table(both_orders(3.0)), setup(TWO_PORTS))) == {}


def test_one_port_has_nothing_to_share() -> None:
    flags = flags_of(measured(table([("C1", "C1", 20.0, 3.0)]), setup((("C1", 65.0),))))
    assert "nothing to share" in flags["single-port"]
    assert "no-shared-total" not in flags


def test_single_ports_alone_give_no_total() -> None:
    rows = [("C1", "C1", 20.0, 3.0), ("C2", "C2", 9.0, 2.0)]
    assert set(flags_of(measured(table(rows), setup(TWO_PORTS)))) == {"no-shared-total"}


def test_a_port_without_a_row_is_named() -> None:
    flags = flags_of(measured(table([("C1+C2+A1", "C2", 20.0, 1.0), *PAIR]), setup()))
    assert "C1+C2+A1 lacks C1 and A1" in flags["incomplete-combination"]


def test_combinations_of_the_plan_that_were_not_measured_are_named_once() -> None:
    flags = flags_of(measured(table([("C2+C1", port, v, i) for _, port, v, i in PAIR]), setup()))
    assert "Not measured: C1+A1, C2+A1 and C1+C2+A1." in flags["untried-combination"]


def test_many_unmeasured_combinations_are_counted() -> None:
    ports = [(f"C{number}", None) for number in range(1, 6)]
    detail = flags_of(measured(table(PAIR), setup(ports)))["untried-combination"]
    # Ten pairs and all five, without the one that was measured.
    assert detail.startswith("Not measured: C1+C3, C1+C4, C1+C5, C2+C3, C2+C4, C2+C5 and 4 more.")


def test_an_incomplete_combination_counts_as_not_measured() -> None:
    flags = flags_of(measured(table([*PAIR, ("A1+C1", "C1", 20.0, 1.0)]), setup()))
    assert "C1+A1" in flags["untried-combination"]


@pytest.mark.parametrize(("second", "flagged"), [(2.99, False), (2.0, True), (3.5, True)])
def test_another_order_is_flagged_beyond_the_combined_uncertainty(
    second: float, flagged: bool
) -> None:
    flags = flags_of(measured(table(both_orders(second)), setup(TWO_PORTS)))
    assert ("order-dependent" in flags) is flagged


def test_the_bound_is_twice_the_uncertainties_in_quadrature() -> None:
    # With an ammeter of ±1 % alone: u = 0.8/√3 and 0.01·(20 I + 20)/√3 for the two totals.
    given = setup(TWO_PORTS, accuracies=(AMMETER,))
    first, bound = 80.0, 0.0
    for watts in (78.5, 78.0):
        bound = 2 * math.hypot(0.01 * first, 0.01 * watts) / math.sqrt(3)
        detail = flags_of(measured(table(both_orders((watts - 20) / 20)), given)).get(
            "order-dependent", ""
        )
        assert ("together" in detail) is (first - watts > bound)
    assert bound == pytest.approx(1.29, abs=0.01)


def test_the_same_total_split_in_another_way_is_flagged_by_port() -> None:
    rows: list[Row] = [
        ("C1+C2", "C1", 20.0, 3.0),
        ("C1+C2", "C2", 20.0, 1.0),
        ("C2+C1", "C1", 20.0, 1.0),
        ("C2+C1", "C2", 20.0, 3.0),
    ]
    detail = flags_of(measured(table(rows), setup(TWO_PORTS)))["order-dependent"]
    assert "together" not in detail
    assert "C1 60.0 W in C1+C2 and 20.0 W in C2+C1" in detail
    assert "C2 60.0 W in C2+C1 and 20.0 W in C1+C2" in detail


def test_missing_instruments_are_named_and_the_input_only_where_it_was_measured() -> None:
    nothing = setup(accuracies=())
    detail = flags_of(measured(table(PAIR), nothing))["no-instrument"]
    assert "output voltage and output current;" in detail
    detail = flags_of(measured(table(PAIR, inputs=(95.0, 95.0)), nothing))["no-instrument"]
    assert "input power" in detail


def test_several_instruments_are_named() -> None:
    twice = base.Accuracy("Other", "output_voltage", reading_percent=1.0, fixed=0.0)
    given = setup(accuracies=(VOLTMETER, twice, AMMETER, POWER_METER))
    assert "Meter V" in flags_of(measured(table(PAIR), given))["several-instruments"]


def test_a_broken_claim_is_a_warning() -> None:
    outcome = measured(table(PAIR), setup(claims=[("C1+C2", "C1", 70.0), ("C1+C2", "C2", 10.0)]))
    (flag,) = (item for item in outcome.flags if item.code == "claim-not-met")
    assert flag.severity == "warning"
    assert flag.detail.endswith("C1 gave 65.0 W of 70 W in C1+C2.")


def test_every_flag_and_fact_is_in_the_notes() -> None:
    notes = method_notes(KIND.slug)
    for code in (
        "single-port",
        "no-shared-total",
        "untried-combination",
        "incomplete-combination",
        "order-dependent",
        "claim-not-met",
        "no-instrument",
        "several-instruments",
        "combinations",
        "total_w",
    ):
        assert f"`{code}`" in notes
