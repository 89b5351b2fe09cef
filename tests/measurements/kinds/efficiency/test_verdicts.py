"""Verdicts of an efficiency run against published limits.

Limits by hand from the tables: 10 CFR 430.32(w) (reproduction), (EU) 2019/1782 Annex II (read),
European Code of Conduct version 5 (reproduction, partly from memory).
"""

from __future__ import annotations

import math

import pytest

from tests.measurements.kinds.efficiency.tables import (
    INSTRUMENTS,
    POWER_METER,
    measured,
    points,
    setup,
    together,
    value,
    verdict,
)

GRID = (0.5, 1.25, 2.5, 3.75, 5.0)
ADAPTIVE = (("", 5.0, 3.0), ("", 9.0, 3.0), ("", 20.0, 5.0))


def loads_of(full: float) -> tuple[float, ...]:
    return tuple(full * share for share in (0.1, 0.25, 0.5, 0.75, 1.0))


@pytest.mark.parametrize(
    ("nominal", "current", "limit"),
    [
        (20.0, 5.0, 88.0),
        (5.0, 2.0, 78.70),
        (9.0, 2.0, 85.00),
        (20.0, 1.0, 100 * (0.071 * math.log(20) - 0.0014 * 20 + 0.67)),
        (5.0, 1.0, 73.62),
    ],
)
def test_level_vi_is_judged_at_the_rating_of_the_output(
    nominal: float, current: float, limit: float
) -> None:
    currents = [current * share for share in (0.25, 0.5, 0.75, 1.0)]
    outcome = measured(points(currents, nominal=nominal), setup((("", nominal, current),)))
    assert verdict(outcome, "level-vi", output_v=nominal).limit == pytest.approx(limit, abs=0.005)


def test_every_scheme_judges_the_average_and_only_some_the_10_percent_point() -> None:
    outcome = measured(points(GRID), setup())
    judged = [(item.scheme, item.quantity) for item in outcome.verdicts]
    schemes = ["level-vi", "eu-2019-1782", "coc-v5-tier-1", "coc-v5-tier-2"]
    assert judged == [(scheme, "average-efficiency") for scheme in schemes] + [
        ("coc-v5-tier-1", "efficiency-at-10"),
        ("coc-v5-tier-2", "efficiency-at-10"),
        ("usb-pd-output", "output-deviation"),
    ]
    at_ten = verdict(outcome, "coc-v5-tier-1", "efficiency-at-10")
    assert at_ten.limit == pytest.approx(79.0)
    assert at_ten.value == pytest.approx(80.0)


@pytest.mark.parametrize(
    ("share", "expected"), [(0.87, "fail"), (0.8801, "undecided"), (0.9, "pass")]
)
def test_the_guard_band_decides(share: float, expected: str) -> None:
    currents = [1.25, 2.5, 3.75, 5.0]
    losses = [20 * current * (1 / share - 1) for current in currents]
    outcome = measured(points(currents, losses=losses), setup(accuracies=(POWER_METER,)))
    found = verdict(outcome, "level-vi")
    assert found.outcome == expected
    assert found.value == value(outcome, "average-efficiency").value
    assert found.margin == pytest.approx(100 * share - 88.0)
    assert found.expanded_uncertainty == pytest.approx(
        2 * 100 * share * 0.002 / math.sqrt(3), rel=1e-5
    )
    assert found.sense == "at least"


def test_the_supply_class_chooses_the_row() -> None:
    outcome = measured(points(GRID), setup(supply="multiple"))
    assert verdict(outcome, "eu-2019-1782").limit == pytest.approx(86.0)


def test_without_an_average_there_is_no_verdict() -> None:
    outcome = measured(points([5.0]), setup())
    assert {item.quantity for item in outcome.verdicts} == {"output-deviation"}


def test_a_run_by_the_book_has_no_deviations() -> None:
    outcome = measured(points(GRID), setup(accuracies=INSTRUMENTS))
    assert verdict(outcome, "eu-2019-1782").deviations == ()


def test_the_clause_names_the_loads_of_an_average() -> None:
    outcome = measured(points(GRID), setup())
    average = verdict(outcome, "level-vi").clause
    assert average == "10 CFR 430.32(w); loads 25, 50, 75 and 100 % of 5 A"
    assert "loads" not in verdict(outcome, "coc-v5-tier-1", "efficiency-at-10").clause


def test_mains_and_ambient_that_depart_are_stated() -> None:
    outcome = measured(points(GRID), setup(ambient_c=None))
    stated = " ".join(verdict(outcome, "level-vi").deviations)
    assert "230 V" in stated
    assert "115 V" in stated
    assert "mbient not recorded" in stated


def test_an_assumed_rating_is_a_deviation() -> None:
    outcome = measured(points(GRID), setup(()))
    assert any("5 A" in text for text in verdict(outcome, "level-vi").deviations)


def test_an_interpolated_load_is_a_deviation_of_the_quantity_that_used_it() -> None:
    outcome = measured(points([0.5, 1.25, 3.0, 5.0]), setup())
    average = verdict(outcome, "coc-v5-tier-1").deviations
    assert any("Interpolated" in text and "50 %, 75 %" in text for text in average)
    at_ten = verdict(outcome, "coc-v5-tier-1", "efficiency-at-10").deviations
    assert not any("Interpolated" in text for text in at_ten)


def test_a_middle_voltage_of_an_adaptive_supply_is_judged_with_the_deviation_stated() -> None:
    table = together(
        points(loads_of(5)),
        points(loads_of(3), nominal=9.0, losses=1.0),
        points(loads_of(3), nominal=5.0, losses=0.8),
    )
    outcome = measured(table, setup(ADAPTIVE, supply="adaptive"))
    neither = {
        voltage: any(
            "neither the highest nor the lowest" in text and "for information" in text
            for text in verdict(outcome, "level-vi", output_v=voltage).deviations
        )
        for voltage in (5.0, 9.0, 20.0)
    }
    assert neither == {5.0: False, 9.0: True, 20.0: False}


def test_a_middle_voltage_is_known_from_the_table_when_nothing_is_advertised() -> None:
    table = together(*(points(loads_of(3), nominal=volt, losses=1.0) for volt in (5.0, 9.0, 20.0)))
    outcome = measured(table, setup((), supply="adaptive"))
    stated = verdict(outcome, "level-vi", output_v=9.0).deviations
    assert any("(20 V and 5 V)" in text for text in stated)


@pytest.mark.parametrize(
    ("current", "supply", "stated"),
    [(3.0, "adaptive", True), (2.0, "adaptive", False), (3.0, "single", False)],
)
def test_loads_at_5_v_other_than_2_a_are_a_deviation(
    current: float, supply: str, stated: bool
) -> None:
    advertised = (("", 5.0, current), ("", 20.0, 5.0))
    table = points(loads_of(current), nominal=5.0, losses=0.8)
    given = setup(advertised, supply="adaptive" if supply == "adaptive" else "single")
    texts = verdict(measured(table, given), "level-vi", output_v=5.0).deviations
    assert any("2, 1.5, 1 and 0.5 A" in text for text in texts) is stated


def test_several_ports_judged_as_one_supply_say_so() -> None:
    outcome = measured(points(GRID), setup(ports=("C1", "C2"), supply="adaptive"))
    assert any("2 ports" in text for text in verdict(outcome, "level-vi").deviations)
