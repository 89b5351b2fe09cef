"""Flags, trace and chart of a thermal run."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from measurements.kinds.base import Accuracy
from tests.measurements.kinds.thermal.records import (
    HOUR,
    LOGGER,
    flags_of,
    heating,
    measured,
    plot_of,
    record,
    setup,
)


def test_a_sound_run_has_no_flags() -> None:
    assert flags_of(measured(record(ambient_c=25.0, top_c=heating(40)), setup())) == {}


@pytest.mark.parametrize(
    ("ambient", "says"), [(29.1, "29.1 °C"), (22.0, "22 °C"), (math.nan, "not recorded")]
)
def test_an_ambient_off_25_is_flagged(ambient: float, says: str) -> None:
    outcome = measured(record(ambient_c=ambient, top_c=60.0), setup())
    assert says in flags_of(outcome)["ambient-off"]


@pytest.mark.parametrize(("minutes", "short"), [(54, True), (55, False)])
def test_a_soak_under_55_minutes_is_flagged(minutes: float, short: bool) -> None:
    time = np.linspace(0, 60 * minutes, 200)
    outcome = measured(record(time_s=time, ambient_c=25.0, top_c=heating(40, time_s=time)), setup())
    assert ("short-soak" in flags_of(outcome)) is short


@pytest.mark.parametrize(("per_hour", "rising"), [(5.9, False), (6.1, True)])
def test_a_sensor_that_still_rises_is_flagged(per_hour: float, rising: bool) -> None:
    outcome = measured(record(ambient_c=25.0, top_c=40 + per_hour * HOUR / 3600), setup())
    assert ("still-rising" in flags_of(outcome)) is rising


def test_a_missing_curve_is_flagged_with_sensor_and_reason() -> None:
    outcome = measured(record(ambient_c=25.0, top_c=heating(40), plug_c=25.0), setup())
    detail = flags_of(outcome)["no-settled-fit"]
    assert "plug" in detail
    assert "top" not in detail
    (flag,) = (flag for flag in outcome.flags if flag.code == "no-settled-fit")
    assert flag.severity == "note"


def test_a_warm_start_is_flagged() -> None:
    warm = 30 + 35 * (1 - np.exp(-HOUR / 900))
    detail = flags_of(measured(record(ambient_c=25.0, top_c=warm), setup()))["warm-start"]
    assert "top (5.0 K)" in detail


def test_gaps_are_counted() -> None:
    readings = heating(40)
    readings[:7] = np.nan
    outcome = measured(record(ambient_c=25.0, top_c=readings), setup())
    assert "top 7 of 361" in flags_of(outcome)["gaps"]


def test_instruments_that_are_missing_or_too_many_are_flagged() -> None:
    table = record(ambient_c=25.0, top_c=heating(40))
    assert "no-instrument" in flags_of(measured(table, setup(accuracies=())))
    spare = Accuracy("Spare", "temperature", reading_percent=0, fixed=2)
    detail = flags_of(measured(table, setup(accuracies=(LOGGER, spare))))["several-instruments"]
    assert "Logger" in detail


def test_the_trace_counts_minutes_from_the_first_row() -> None:
    table = record(time_s=[100, 160, 220], ambient_c=[25, math.nan, 25], top_c=[26, 30, 33])
    trace = measured(table, setup()).trace
    assert list(trace) == ["time_min", "top_c", "ambient_c"]
    assert trace["time_min"] == pytest.approx([0, 1, 2])
    assert {len(column) for column in trace.values()} == {3}
    assert math.isnan(trace["ambient_c"][1])


def test_a_record_without_ambient_has_none_in_trace_and_chart() -> None:
    outcome = measured(record(top_c=heating(40)), setup(ambient_c=25.0))
    assert list(outcome.trace) == ["time_min", "top_c"]
    assert [line.column for line in plot_of(outcome).lines] == ["top_c"]


def test_every_column_of_the_chart_is_in_the_trace() -> None:
    table = record(ambient_c=25.0, top_face_c=heating(40), prongs_c=heating(20))
    outcome = measured(table, setup(materials={"prongs": "metal"}))
    plot = plot_of(outcome)
    assert {plot.x, *(line.column for line in plot.lines)} <= set(outcome.trace)
    assert [line.label for line in plot.lines] == ["top face", "prongs", "ambient"]
    assert [(rule.axis, rule.value, rule.label) for rule in plot.rules] == [
        ("y", 77, "touch limit, plastic"),
        ("y", 60, "touch limit, metal"),
    ]
    assert "[min]" in plot.x_title
    assert "[°C]" in plot.y_title


@pytest.mark.parametrize(
    ("columns", "materials", "title"),
    [
        ({"top_face_c": 71.3}, {}, "Warmest at 71.3 °C (top face), 5.7 K below the touch limit"),
        ({"top_c": 79.1}, {}, "Warmest at 79.1 °C (top), 2.1 K above the touch limit"),
        (
            {"top_c": 71.3, "prongs_c": 58.0},
            {"prongs": "metal"},
            "Warmest at 71.3 °C (top); prongs (metal) is 2.0 K below the touch limit",
        ),
    ],
)
def test_the_title_states_the_finding(
    columns: dict[str, Any], materials: dict[str, str], title: str
) -> None:
    outcome = measured(record(ambient_c=25.0, **columns), setup(materials=materials))
    assert plot_of(outcome).title == title
