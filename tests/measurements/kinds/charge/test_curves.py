"""The curves that a charge keeps for laying it over others."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.intake.columns import FloatArray, Table
from measurements.metrics.curves import compare_curves
from tests.measurements.kinds.charge.records import HOUR, log, measured


def curves(table: Table) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(json.dumps(measured(table).details.facts["curves"]))
    return kept


def axes(kept: dict[str, Any]) -> tuple[FloatArray, FloatArray]:
    power = np.array(kept["by_time"]["power_w"], dtype=np.float64)
    return (np.arange(len(power)) + 0.5) * kept["by_time"]["step_s"], power


def test_a_ramp_is_kept_as_the_means_of_its_steps() -> None:
    # 20 V and a current of 1 A and 0.01 A/s more: a step of 10 s rises by 2 W.
    kept = curves(log(time_s=HOUR[:101], current_a=1 + 0.01 * HOUR[:101]))["by_time"]
    assert kept["step_s"] == 10
    assert kept["power_w"] == pytest.approx([21 + 2 * step for step in range(10)])


def test_steps_count_from_the_start_of_the_charge() -> None:
    kept = curves(log(time_s=HOUR[:100], current_a=np.where(HOUR[:100] < 33, 0.0, 1.5)))
    # 33 s of waiting are no step; 66 s are six steps, and what is left is not one.
    assert kept["by_time"]["power_w"] == [30] * 6


def test_a_step_into_which_a_gap_falls_has_no_value() -> None:
    time = np.concatenate((np.arange(0.0, 45), np.arange(105.0, 151)))
    kept = curves(log(time_s=time))["by_time"]["power_w"]
    assert kept == [30] * 4 + [None] * 7 + [30] * 4


def test_power_by_level_is_that_of_each_percent() -> None:
    # 1 % takes 36 s at 60 W up to half, then at 30 W.
    power = np.where(HOUR < 1800, 60.0, 30.0)
    level = np.floor(HOUR / 36)
    kept = curves(log(current_a=power / 20, battery_percent=level))["by_level"]
    # That in which the charge starts is no whole one.
    assert kept["level_percent"] == list(range(1, 100))
    assert kept["power_w"] == pytest.approx([60] * 48 + [60 - 15 / 36] + [30] * 50, abs=0.001)


def test_percents_that_are_not_passed_whole_are_left_out() -> None:
    kept = curves(log(battery_percent=np.linspace(10.5, 20.5, HOUR.size)))["by_level"]
    assert kept["level_percent"] == list(range(11, 20))
    assert kept["power_w"] == [30] * 9


def test_without_a_level_there_is_no_curve_by_level() -> None:
    assert curves(log())["by_level"] == {"level_percent": [], "power_w": []}


def test_a_long_log_gets_longer_steps() -> None:
    days = np.arange(0.0, 5 * 24 * 3600, 60)
    kept = curves(log(time_s=days, battery_percent=np.linspace(0, 100, days.size)))
    assert kept["by_time"]["step_s"] == 90
    points = len(kept["by_time"]["power_w"]) + len(kept["by_level"]["power_w"])
    assert 4500 < points <= 5000


@pytest.mark.parametrize("spacing", [1.0, 2.0, 5.0])
def test_distances_of_the_curves_are_those_of_the_rows(spacing: float) -> None:
    """The down-sampled trace of these two gives a largest distance many times too large."""
    random = np.random.default_rng(5)

    def charge(factor: float) -> tuple[Table, FloatArray, FloatArray]:
        time = np.arange(0.0, 5400.0, spacing)
        taper = np.where(time < 2400, 1.0, np.exp(-(time - 2400) / 700))
        power = 90 * factor * taper * (1 + random.normal(0, 0.002, time.size))
        level = np.minimum(100, np.cumsum(power) / power.sum() * 100.5)
        return log(time_s=time, current_a=power / 20, battery_percent=level), time, power

    (one, time, watts), (other, _, other_watts) = charge(1.0), charge(1.01)
    rows = compare_curves(time, other_watts, time, watts)
    kept = compare_curves(*axes(curves(other)), *axes(curves(one)))
    assert rows is not None
    assert kept is not None
    assert kept.mean == pytest.approx(rows.mean, abs=0.01)
    # Scatter of the readings adds to the mean size and the largest of the rows alone.
    true_largest = 0.9
    assert kept.largest == pytest.approx(true_largest, abs=0.6)
    assert kept.mean_absolute == pytest.approx(abs(rows.mean), abs=0.03)
    assert kept.mean_absolute <= rows.mean_absolute + 0.01


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 8), st.floats(0, 5)), min_size=3, max_size=60))
def test_the_steps_hold_the_energy_of_the_charge(rows: list[tuple[int, float]]) -> None:
    time = np.cumsum([0.0, 8.0, 8.0, *(row[0] for row in rows)])
    # A last reading at the end of a step, so that none is cut off.
    time = np.append(time, 10.0 * (time[-1] // 10 + 1))
    current = np.array([1.0, 1.0, 1.0, *(row[1] for row in rows), 0.0])
    power = 20 * current
    kept = curves(log(time_s=time, current_a=current))["by_time"]
    assert None not in kept["power_w"]
    total = sum(kept["power_w"]) * kept["step_s"]
    assert total == pytest.approx(np.trapezoid(power, time), abs=0.001 * time[-1])
    # Rounded to milliwatts.
    assert min(kept["power_w"]) >= power.min() - 0.0005
    assert max(kept["power_w"]) <= power.max() + 0.0005
