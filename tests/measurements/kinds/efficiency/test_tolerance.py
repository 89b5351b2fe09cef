"""The output voltage against ±5 % of a fixed USB Power Delivery supply.

±5 % at the receptacle: common practice, the specification's number from memory.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from measurements.kinds.base import Verdict
from tests.measurements.kinds.efficiency.tables import (
    POWER_METER,
    VOLTMETER,
    measured,
    points,
    schemes_of,
    setup,
    value,
    verdict,
)

GRID = (0.0, 0.5, 1.25, 2.5, 3.75, 5.0)
SCANNED = (("C1", 20.0, 5.0),)


def judged(voltage: float, **more: Any) -> Verdict:
    given = setup(**{"scanned": SCANNED, **more})
    outcome = measured(points(GRID, voltages=[20, 20, 20, 20, 20, voltage]), given)
    return verdict(outcome, "usb-pd-output", "output-deviation")


@pytest.mark.parametrize(
    ("voltage", "outcome"),
    [
        (19.1, "pass"),
        (19.005, "undecided"),
        (18.9, "fail"),
        (20.9, "pass"),
        (20.995, "undecided"),
        (21.1, "fail"),
    ],
)
def test_five_per_cent_either_way_decide(voltage: float, outcome: str) -> None:
    found = judged(voltage, accuracies=(VOLTMETER,))
    assert found.outcome == outcome
    assert (found.limit, found.sense) == (5.0, "at most")
    assert found.value == pytest.approx(abs(voltage - 20) * 5)
    # 10 mV of 20 V as a rectangular bound, k = 2.
    assert found.expanded_uncertainty == pytest.approx(2 * 0.05 / math.sqrt(3))


def test_it_says_that_the_number_is_common_practice_and_from_memory() -> None:
    stated = " ".join(judged(20.0).deviations)
    assert "Common practice" in stated
    assert "from memory" in stated


def test_it_says_where_the_voltage_was_measured() -> None:
    assert any("counts as sensed at the receptacle" in text for text in judged(20.0).deviations)
    corrected = judged(19.9, lead_resistance_ohm=0.02).deviations
    assert any("far end of a lead of 0.02 Ω" in text for text in corrected)
    assert not any("counts as sensed" in text for text in corrected)


def test_a_voltage_that_no_scan_confirms_says_so() -> None:
    assert any("No scan" in text for text in judged(20.0, scanned=()).deviations)
    assert not any("No scan" in text for text in judged(20.0).deviations)


def test_a_voltage_that_the_scan_does_not_hold_is_not_a_fixed_one() -> None:
    given = setup(scanned=(("C1", 15.0, 3.0),))
    assert schemes_of(measured(points(GRID), given), "output-deviation", output_v=20.0) == set()


def test_another_connector_has_no_such_tolerance() -> None:
    outcome = measured(points(GRID), setup(connector="usb-a"))
    assert schemes_of(outcome, "output-deviation", output_v=20.0) == set()
    assert value(outcome, "output-deviation").value == 0


@pytest.mark.parametrize(
    ("currents", "says"),
    [
        ([0.5, 5.0], "from 10 to 100 % load"),
        ([0.0, 2.5], "from 0 to 50 % load"),
        ([0.0, 5.0, 5.5], "goes to 110 % load"),
    ],
)
def test_the_range_of_load_that_was_not_the_tolerances_is_stated(
    currents: list[float], says: str
) -> None:
    outcome = measured(points(currents), setup(scanned=SCANNED))
    found = verdict(outcome, "usb-pd-output", "output-deviation").deviations
    assert any(says in text for text in found)


def test_from_no_load_to_full_load_nothing_is_said_of_the_range() -> None:
    assert not any("% load" in text for text in judged(20.0).deviations)


def test_an_unknown_rating_leaves_the_range_unknown() -> None:
    stated = judged(20.0, scanned=(), advertised=()).deviations
    assert any("not known" in text for text in stated)


def test_a_missing_voltmeter_is_a_deviation_and_a_missing_power_meter_is_none() -> None:
    assert any(
        "output voltage" in text for text in judged(20.0, accuracies=(POWER_METER,)).deviations
    )
    only = judged(20.0, accuracies=(VOLTMETER,)).deviations
    assert not any("No instrument" in text for text in only)
