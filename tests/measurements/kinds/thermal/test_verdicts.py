"""Verdicts of a thermal run against IEC 62368-1:2018, Table 38.

Plastic 77 °C was read in a public discussion of the table; metal 60 °C and glass 71 °C are from
memory, which the verdict itself has to say.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from measurements.kinds.base import Accuracy, Outcome, Verdict
from tests.measurements.kinds.thermal.records import HOUR, heating, measured, record, setup

ONE_KELVIN = Accuracy("Logger", "temperature", reading_percent=0.0, fixed=math.sqrt(3) / 2)
"""U = 2 · (√3/2)/√3 = 1 K."""


def verdict(outcome: Outcome, sensor: str = "top") -> Verdict:
    (found,) = (item for item in outcome.verdicts if item.condition.sensor == sensor)
    return found


@pytest.mark.parametrize(
    ("highest", "expected"),
    [(70.0, "pass"), (75.9, "pass"), (76.5, "undecided"), (77.5, "undecided"), (78.2, "fail")],
)
def test_a_sensor_is_judged_with_a_guard_band(highest: float, expected: str) -> None:
    outcome = measured(record(ambient_c=25.0, top_c=highest), setup(accuracies=(ONE_KELVIN,)))
    found = verdict(outcome)
    assert found.outcome == expected
    assert found.scheme == "iec-62368-1"
    assert found.quantity == "surface-temperature"
    assert found.sense == "at most"
    assert found.limit == 77
    assert found.value == highest
    assert found.margin == pytest.approx(77 - highest)
    assert found.expanded_uncertainty == pytest.approx(1.0)


def test_every_sensor_is_judged_by_its_material() -> None:
    table = record(ambient_c=25.0, top_c=65.0, prongs_c=65.0, window_c=65.0)
    outcome = measured(table, setup(materials={"prongs": "metal", "window": "glass"}))
    judged = {item.condition.sensor: (item.limit, item.outcome) for item in outcome.verdicts}
    assert judged == {"top": (77, "pass"), "prongs": (60, "fail"), "window": (71, "pass")}


def test_a_limit_from_memory_is_said_to_be_so() -> None:
    table = record(ambient_c=25.0, top_c=50.0, prongs_c=50.0)
    outcome = measured(table, setup(materials={"prongs": "metal"}))
    assert any("not verified" in text for text in verdict(outcome, "prongs").deviations)
    assert not any("not verified" in text for text in verdict(outcome).deviations)


def test_the_chosen_row_is_stated_as_a_judgement() -> None:
    found = verdict(measured(record(ambient_c=25.0, top_c=50.0), setup()))
    assert "1 s to 10 s" in found.deviations[0]
    assert "judgement" in found.deviations[0]


def test_a_settled_run_at_25_degrees_has_no_other_deviation() -> None:
    outcome = measured(record(ambient_c=25.0, top_c=heating(40, tau_min=10)), setup())
    assert len(verdict(outcome).deviations) == 1


@pytest.mark.parametrize(("ambient", "says"), [(31.0, "31 °C"), (math.nan, "not recorded")])
def test_another_ambient_is_a_deviation_and_nothing_is_recalculated(
    ambient: float, says: str
) -> None:
    found = verdict(measured(record(ambient_c=ambient, top_c=70.0), setup()))
    assert any(says in text and "not recalculated" in text for text in found.deviations)
    assert found.value == 70


def test_a_rise_that_no_curve_describes_is_a_deviation() -> None:
    outcome = measured(record(ambient_c=25.0, top_c=25 + 1e-6 * HOUR**2), setup())
    texts = verdict(outcome).deviations
    assert any("23.8 K/h" in text for text in texts)


def test_a_short_soak_that_still_rises_is_a_deviation() -> None:
    time = np.linspace(0, 1200, 121)
    table = record(time_s=time, ambient_c=25.0, top_c=heating(60, tau_min=20, time_s=time))
    texts = verdict(measured(table, setup())).deviations
    assert any("20 min" in text for text in texts)
    assert any("still rising" in text and "85.0 °C" in text for text in texts)
