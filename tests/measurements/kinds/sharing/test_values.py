"""Totals, shares and their uncertainties, in cases that can be worked out by hand."""

from __future__ import annotations

import math
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.kinds.base import Accuracy
from measurements.kinds.sharing import KIND
from tests.measurements.kinds.sharing.tables import (
    AMMETER,
    INSTRUMENTS,
    PAIR,
    VOLTMETER,
    Row,
    listing,
    measured,
    setup,
    table,
    value,
)

POWERS = st.floats(0.5, 60.0)


def test_the_total_is_the_sum_of_the_ports() -> None:
    outcome = measured(table(PAIR), setup())
    assert value(outcome, "sharing-total").value == 20 * 3.25 + 9 * 2
    assert value(outcome, "sharing-kept").value == pytest.approx(83.0)


def test_the_highest_total_counts_whatever_the_order_of_rows() -> None:
    rows = [
        ("C1+C2+A1", "A1", 5.0, 2.0),
        ("C1+C2", "C2", 9.0, 2.0),
        ("C1+C2+A1", "C1", 20.0, 3.0),
        ("C1+C2", "C1", 20.0, 3.25),
        ("C1+C2+A1", "C2", 9.0, 2.0),
    ]
    outcome = measured(table(rows), setup())
    assert value(outcome, "sharing-total").value == pytest.approx(88.0)
    assert outcome.details.facts["combinations"][0]["combination"] == "C1+C2+A1"


def test_a_port_alone_is_no_total() -> None:
    rows = [("C1", "C1", 20.0, 5.0), *PAIR]
    assert value(measured(table(rows), setup()), "sharing-total").value == 83.0
    assert measured(table(rows[:1]), setup()).values == ()


def test_a_combination_without_all_its_ports_has_no_total() -> None:
    rows = [("C1+C2+A1", "C1", 20.0, 5.0), ("C1+C2+A1", "C2", 20.0, 5.0), *PAIR]
    outcome = measured(table(rows), setup())
    assert value(outcome, "sharing-total").value == 83.0
    first, second = outcome.details.facts["combinations"]
    assert first == {
        "combination": "C1+C2+A1",
        "ports": {
            "C1": {"voltage_v": 20.0, "current_a": 5.0, "power_w": 100.0},
            "C2": {"voltage_v": 20.0, "current_a": 5.0, "power_w": 100.0},
        },
        "total_w": None,
    }
    assert second["total_w"] == 83.0


def test_each_instruments_error_is_common_to_all_ports() -> None:
    # Voltmeter ±0.1 V: Σ I · 0.1/√3; ammeter ±1 %: 1 % of the total/√3.
    total = value(measured(table(PAIR), setup()), "sharing-total")
    by_voltage = (3.25 + 2) * 0.1 / math.sqrt(3)
    by_current = 0.01 * 83 / math.sqrt(3)
    assert total.standard_uncertainty == pytest.approx(math.hypot(by_voltage, by_current))


def test_the_share_kept_has_the_relative_uncertainty_of_the_total() -> None:
    outcome = measured(table(PAIR), setup(rated=65.0))
    total, kept = value(outcome, "sharing-total"), value(outcome, "sharing-kept")
    assert kept.value == pytest.approx(100 * 83 / 65)
    assert kept.standard_uncertainty / kept.value == pytest.approx(
        total.standard_uncertainty / total.value
    )


def test_without_instruments_nothing_is_uncertain() -> None:
    outcome = measured(table(PAIR), setup(accuracies=()))
    assert value(outcome, "sharing-total").standard_uncertainty == 0


def test_the_first_instrument_of_a_quantity_counts() -> None:
    coarse = Accuracy("Second", "output_voltage", reading_percent=50.0, fixed=5.0)
    one = measured(table(PAIR), setup(accuracies=(VOLTMETER, AMMETER)))
    two = measured(table(PAIR), setup(accuracies=(VOLTMETER, coarse, AMMETER)))
    assert one.values == two.values


def test_conversion_efficiency_is_output_over_input() -> None:
    outcome = measured(table(PAIR, inputs=(math.nan, 92.0)), setup(accuracies=()))
    assert listing(outcome, "conversion").rows == (("C1+C2", "83.00", "92.00", "90.22", "0"),)


def test_conversion_efficiency_takes_the_mean_of_repeated_inputs_with_their_scatter() -> None:
    # Mean 92, s = √2, s/√2 = 1 W: u = efficiency · 1/92, U = 2 u = 1.96 points.
    outcome = measured(table(PAIR, inputs=(91.0, 93.0)), setup(accuracies=()))
    assert listing(outcome, "conversion").rows == (("C1+C2", "83.00", "92.00", "90.22", "2"),)


def test_conversion_efficiency_combines_the_three_instruments() -> None:
    outcome = measured(table(PAIR, inputs=(92.0, 92.0)), setup())
    u_relative = math.hypot(5.25 * 0.1 / 83, 0.01, 0.005) / math.sqrt(3)
    assert listing(outcome, "conversion").rows[0][4] == f"{2 * 90.217 * u_relative:.2g}"


def test_a_combination_without_input_or_port_has_no_conversion() -> None:
    rows = [*PAIR, ("C1+A1", "C1", 20.0, 2.0), ("C2", "C2", 9.0, 1.0)]
    outcome = measured(table(rows, inputs=(95.0, 95.0, 50.0, math.nan)), setup())
    assert [row[0] for row in listing(outcome, "conversion").rows] == ["C1+C2"]


def test_without_input_power_there_is_no_conversion_listing() -> None:
    assert [item.key for item in measured(table(PAIR), setup()).details.listings] == ["ports"]


@settings(deadline=None)
@given(powers=st.lists(POWERS, min_size=3, max_size=3), factor=st.floats(0.1, 3.0))
def test_the_total_follows_the_currents(powers: list[float], factor: float) -> None:
    def total(scale: float) -> float:
        ports = zip(("C1", "C2", "A1"), powers, strict=True)
        rows = [("C1+C2+A1", port, 20.0, scale * power / 20) for port, power in ports]
        return value(measured(table(rows), setup()), "sharing-total").value

    assert total(1.0) == pytest.approx(sum(powers))
    assert total(factor) == pytest.approx(factor * sum(powers))


@settings(deadline=None)
@given(powers=st.lists(POWERS, min_size=6, max_size=6), data=st.data())
def test_the_order_of_the_rows_changes_no_value(powers: list[float], data: st.DataObject) -> None:
    orders = [("C1", "C2"), ("C2", "C1"), ("C1", "A1")]
    ports = [("+".join(order), port) for order in orders for port in order]
    rows: list[Row] = [
        (combination, port, 15.0, power / 15)
        for (combination, port), power in zip(ports, powers, strict=True)
    ]
    shuffled = data.draw(st.permutations(rows))
    before, after = measured(table(rows), setup()), measured(table(shuffled), setup())
    for metric in ("sharing-total", "sharing-kept"):
        assert value(after, metric).value == pytest.approx(value(before, metric).value)
        assert value(after, metric).standard_uncertainty == pytest.approx(
            value(before, metric).standard_uncertainty, rel=1e-6
        )


@settings(deadline=None)
@given(powers=st.lists(POWERS, min_size=2, max_size=2), extra=POWERS)
def test_another_combination_never_lowers_the_highest_total(
    powers: list[float], extra: float
) -> None:
    rows = [("C1+C2", "C1", 20.0, powers[0] / 20), ("C1+C2", "C2", 20.0, powers[1] / 20)]
    more = [*rows, ("C2+A1", "C2", 5.0, extra / 5), ("C2+A1", "A1", 5.0, 1.0)]
    assert (
        value(measured(table(more), setup()), "sharing-total").value
        >= value(measured(table(rows), setup()), "sharing-total").value
    )


@settings(deadline=None)
@given(powers=st.lists(POWERS, min_size=3, max_size=3))
def test_a_total_is_more_uncertain_than_independent_meters_would_make_it(
    powers: list[float],
) -> None:
    ports = list(zip(("C1", "C2", "A1"), powers, strict=True))
    whole = [("C1+C2+A1", port, 20.0, power / 20) for port, power in ports]
    given_setup = setup(accuracies=INSTRUMENTS)
    total = value(measured(table(whole), given_setup), "sharing-total").standard_uncertainty
    each = [math.hypot(power / 20 * 0.1, 0.01 * power) / math.sqrt(3) for power in powers]
    assert math.hypot(*each) - 1e-9 <= total <= sum(each) + 1e-9


def test_every_order_of_three_ports_is_a_combination_of_its_own() -> None:
    rows = [
        ("+".join(order), port, 9.0, 1.0)
        for order in permutations(("C1", "C2", "A1"))
        for port in order
    ]
    outcome = measured(table(rows), setup())
    names = [item["combination"] for item in outcome.details.facts["combinations"]]
    assert len(set(names)) == len(names) == 6


def test_nothing_is_drawn_over_time() -> None:
    outcome = KIND.measure(table(PAIR), setup())
    assert outcome.plot is None
    assert outcome.trace == {}
    assert outcome.verdicts == ()
