"""An adaptive supply at its two judged voltages: 10 CFR 430 Subpart B Appendix Z, read.

At the lowest voltage of a USB Power Delivery port the loads are 2, 1.5, 1 and 0.5 A.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds.base import Outcome, SupplyClass
from tests.measurements.kinds.efficiency.tables import (
    POWER_METER,
    measured,
    points,
    schemes_of,
    setup,
    together,
    value,
    verdict,
)

STEPS = (0.5, 1.0, 1.5, 2.0)
SHARES = (0.3, 0.75, 1.5, 2.25, 3.0)
BOTH = tuple(sorted({*STEPS, *SHARES}))
FULL = (0.5, 1.25, 2.5, 3.75, 5.0)
ADVERTISED = (("", 5.0, 3.0), ("", 9.0, 3.0), ("", 15.0, 3.0), ("", 20.0, 5.0))
ALL = {"level-vi", "eu-2019-1782", "coc-v5-tier-1", "coc-v5-tier-2"}


def table(at_5_v: Sequence[float], *, losses: Sequence[float] | float = 0.8) -> Table:
    return together(
        points(at_5_v, nominal=5.0, losses=losses),
        points(SHARES, nominal=9.0, losses=1.0),
        points(FULL),
    )


def run(
    at_5_v: Sequence[float] = BOTH,
    advertised: Sequence[tuple[str, float, float]] = ADVERTISED,
    **more: Any,
) -> Outcome:
    return measured(table(at_5_v), setup(advertised, supply="adaptive", **more))


def voltages_of(outcome: Outcome) -> list[float | None]:
    return [
        item.condition.output_v for item in outcome.values if item.metric == "adaptive-efficiency"
    ]


def test_at_the_lowest_voltage_it_is_the_mean_over_2_a_steps() -> None:
    by_hand = sum(100 * watts / (watts + 0.8) for watts in (2.5, 5.0, 7.5, 10.0)) / 4
    assert value(run(), "adaptive-efficiency", output_v=5.0).value == pytest.approx(by_hand)


def test_at_the_highest_voltage_it_is_the_average_efficiency() -> None:
    outcome = run()
    average = value(outcome, "average-efficiency")
    found = value(outcome, "adaptive-efficiency")
    assert found.value == average.value
    assert found.standard_uncertainty == average.standard_uncertainty


def test_a_voltage_between_them_has_none() -> None:
    assert voltages_of(run()) == [5.0, 20.0]


def test_the_average_by_shares_stands_beside_it() -> None:
    by_hand = sum(100 * watts / (watts + 0.8) for watts in (3.75, 7.5, 11.25, 15.0)) / 4
    assert value(run(), "average-efficiency", output_v=5.0).value == pytest.approx(by_hand)


@pytest.mark.parametrize("missing", STEPS)
def test_a_step_that_was_not_measured_is_not_interpolated(missing: float) -> None:
    outcome = run([amps for amps in (*BOTH, 2.6) if amps != missing])
    assert voltages_of(outcome) == [20.0]


@pytest.mark.parametrize(("amps", "counts"), [(1.961, True), (2.039, True), (2.041, False)])
def test_a_point_counts_for_a_step_within_40_ma(amps: float, counts: bool) -> None:
    outcome = run([0.5, 1.0, 1.5, amps])
    assert (5.0 in voltages_of(outcome)) is counts


def test_the_uncertainty_follows_the_steps() -> None:
    outcome = run(accuracies=(POWER_METER,))
    found = value(outcome, "adaptive-efficiency", output_v=5.0)
    assert found.standard_uncertainty == pytest.approx(found.value * 0.002 / math.sqrt(3), rel=1e-5)


@given(share=st.floats(0.5, 0.99))
def test_a_supply_of_one_efficiency_has_it_by_either_loading(share: float) -> None:
    losses = [5.0 * amps * (1 / share - 1) for amps in BOTH]
    outcome = measured(table(BOTH, losses=losses), setup(ADVERTISED, supply="adaptive"))
    for metric in ("average-efficiency", "adaptive-efficiency"):
        assert value(outcome, metric, output_v=5.0).value == pytest.approx(100 * share)


class TestWhoHasSteps:
    @pytest.mark.parametrize("supply", ["single", "multiple"])
    def test_only_an_adaptive_supply_has_the_value(self, supply: SupplyClass) -> None:
        outcome = measured(table(BOTH), setup(ADVERTISED, supply=supply))
        assert voltages_of(outcome) == []

    def test_a_port_that_is_not_usb_c_has_shares_at_both_ends(self) -> None:
        outcome = run(connector="usb-a")
        assert voltages_of(outcome) == [5.0, 20.0]
        found = value(outcome, "adaptive-efficiency", output_v=5.0)
        assert found.value == value(outcome, "average-efficiency", output_v=5.0).value

    def test_a_single_known_voltage_is_not_the_highest_of_several(self) -> None:
        outcome = measured(points(FULL), setup(supply="adaptive"))
        assert voltages_of(outcome) == []

    def test_5_v_alone_is_the_lowest_of_a_usb_port(self) -> None:
        outcome = measured(points(BOTH, nominal=5.0), setup((), supply="adaptive"))
        assert voltages_of(outcome) == [5.0]

    def test_what_the_port_says_goes_before_the_label(self) -> None:
        label = (*ADVERTISED, ("", 28.0, 5.0))
        assert voltages_of(run(advertised=label)) == [5.0]
        assert voltages_of(run(advertised=label, scanned=ADVERTISED)) == [5.0, 20.0]


class TestVerdicts:
    def test_the_steps_are_judged_at_the_low_voltage_limit_of_10_w(self) -> None:
        outcome = run()
        for scheme in ("level-vi", "eu-2019-1782"):
            found = verdict(outcome, scheme, "adaptive-efficiency", output_v=5.0)
            # 0.0834 ln 10 - 0.0014 · 10 + 0.609, low-voltage row of both.
            assert found.limit == pytest.approx(78.70, abs=0.005)
            assert found.clause.endswith("; loads 2, 1.5, 1 and 0.5 A")
            assert found.value == value(outcome, "adaptive-efficiency", output_v=5.0).value

    def test_a_loading_that_was_not_the_methods_is_not_judged_beside_it(self) -> None:
        outcome = run()
        by_steps = {"level-vi", "eu-2019-1782"}
        assert schemes_of(outcome, "adaptive-efficiency", output_v=5.0) == by_steps
        assert schemes_of(outcome, "average-efficiency", output_v=5.0) == ALL - by_steps
        for volts in (9.0, 20.0):
            assert schemes_of(outcome, "average-efficiency", output_v=volts) == ALL
            assert schemes_of(outcome, "adaptive-efficiency", output_v=volts) == set()

    def test_without_the_steps_the_shares_are_judged_with_the_deviation_stated(self) -> None:
        outcome = run(SHARES)
        assert schemes_of(outcome, "average-efficiency", output_v=5.0) == ALL
        texts = " ".join(verdict(outcome, "eu-2019-1782", output_v=5.0).deviations)
        assert "100 % load was 3 A" in texts
        assert "2, 1.5, 1 and 0.5 A" in texts
        # The Code of Conduct has no method of its own for such supplies.
        voluntary = " ".join(verdict(outcome, "coc-v5-tier-1", output_v=5.0).deviations)
        assert "2, 1.5, 1 and 0.5 A" not in voluntary

    def test_2_a_as_full_load_makes_both_loadings_one(self) -> None:
        outcome = run(STEPS, (("", 5.0, 2.0), ("", 20.0, 5.0)))
        assert schemes_of(outcome, "average-efficiency", output_v=5.0) == ALL
        assert schemes_of(outcome, "adaptive-efficiency", output_v=5.0) == set()
        found = verdict(outcome, "level-vi", output_v=5.0)
        assert found.limit == pytest.approx(78.70, abs=0.005)
        assert found.value == value(outcome, "adaptive-efficiency", output_v=5.0).value

    def test_an_assumed_full_load_does_not_concern_the_steps(self) -> None:
        outcome = run(advertised=())
        stepped = verdict(outcome, "level-vi", "adaptive-efficiency", output_v=5.0).deviations
        assert not any("nameplate" in text for text in stepped)

    def test_a_supply_within_the_definition_has_no_remark_on_it(self) -> None:
        found = verdict(run(), "level-vi", "adaptive-efficiency", output_v=5.0).deviations
        assert not any("by the letter" in text for text in found)

    @pytest.mark.parametrize(
        ("more", "stated"),
        [
            ([("", 28.0, 5.0)], "28 V"),
            ([("", 28.0, 5.0), ("", 36.0, 5.0), ("", 48.0, 5.0)], "28 V, 36 V, 48 V"),
            ([("C1", 5.0, 2.4)], "2.4 A at 5 V"),
            ([("", 9.0, 3.3)], "3.3 A at 9 V"),
            ([("", 15.0, 4.0)], "4 A at 15 V"),
            ([("", 20.0, 6.5)], "6.5 A at 20 V"),
        ],
    )
    @pytest.mark.parametrize("at_5_v", [BOTH, SHARES])
    def test_a_supply_outside_the_definition_says_so_by_either_loading(
        self, more: list[tuple[str, float, float]], stated: str, at_5_v: tuple[float, ...]
    ) -> None:
        outcome = run(at_5_v, (*ADVERTISED, *more), port="C1")
        quantity = "adaptive-efficiency" if at_5_v == BOTH else "average-efficiency"
        (sentence,) = (
            text
            for text in verdict(outcome, "level-vi", quantity, output_v=5.0).deviations
            if "by the letter" in text
        )
        assert sentence.startswith(f"This port states {stated}: by the letter")
