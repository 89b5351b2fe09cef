"""Flags, trace and chart of an efficiency run."""

from __future__ import annotations

import math

import numpy as np
import pytest

from measurements.kinds import method_notes
from measurements.kinds.base import Accuracy
from measurements.kinds.efficiency import KIND
from tests.measurements.kinds.efficiency.tables import (
    INSTRUMENTS,
    POWER_METER,
    flags_of,
    measured,
    plot_of,
    points,
    setup,
    together,
)

GRID = (0.5, 1.25, 2.5, 3.75, 5.0)


def test_a_complete_run_has_no_flags() -> None:
    assert flags_of(measured(points(GRID), setup())) == {}


def test_an_assumed_rating_is_flagged_with_its_current() -> None:
    outcome = measured(points(GRID), setup(()))
    assert "5 A at 20 V" in flags_of(outcome)["assumed-rating"]


def test_interpolated_loads_are_named() -> None:
    outcome = measured(points([0.5, 1.25, 3.0, 5.0]), setup())
    assert "50 and 75 % at 20 V" in flags_of(outcome)["interpolated"]
    assert "missing-load" not in flags_of(outcome)


@pytest.mark.parametrize(
    ("currents", "missing", "severity"),
    [
        ([1.25, 2.5, 3.75, 5.0], "10 % at 20 V", "note"),
        ([0.5, 1.25, 2.5, 3.75], "100 % at 20 V", "warning"),
        ([2.5, 3.75], "10, 25 and 100 % at 20 V", "warning"),
    ],
)
def test_missing_loads_are_named(currents: list[float], missing: str, severity: str) -> None:
    outcome = measured(points(currents), setup())
    assert missing in flags_of(outcome)["missing-load"]
    (flag,) = (flag for flag in outcome.flags if flag.code == "missing-load")
    assert flag.severity == severity


def test_missing_loads_of_several_outputs_are_one_flag() -> None:
    table = together(points([1.25, 5.0]), points([3.0], nominal=5.0, losses=1.0))
    outcome = measured(table, setup((("", 20.0, 5.0), ("", 5.0, 3.0))))
    detail = flags_of(outcome)["missing-load"]
    assert "10, 25, 50 and 75 % at 5 V" in detail
    assert "10 % at 20 V" in detail
    assert "5 V" in flags_of(outcome)["one-load"]


def test_missing_instruments_are_named() -> None:
    outcome = measured(points(GRID), setup(accuracies=(POWER_METER,)))
    assert "output voltage and output current" in flags_of(outcome)["no-instrument"]
    assert "no-instrument" not in flags_of(measured(points(GRID), setup()))


def test_several_instruments_for_one_quantity_are_named() -> None:
    spare = Accuracy("Spare", "input_power", reading_percent=1.0, fixed=0.0)
    outcome = measured(points(GRID), setup(accuracies=(*INSTRUMENTS, spare)))
    assert "Meter P for input power" in flags_of(outcome)["several-instruments"]


def test_a_lead_correction_is_flagged() -> None:
    outcome = measured(points(GRID, voltages=19.9), setup(lead_resistance_ohm=0.01))
    assert "0.01 Ω (±10 %, assumed)" in flags_of(outcome)["lead-corrected"]
    stated = setup(lead_resistance_ohm=0.01, lead_accuracy_percent=2.0)
    assert "(±2 %)" in flags_of(measured(points(GRID, voltages=19.9), stated))["lead-corrected"]
    assert "lead-corrected" not in flags_of(measured(points(GRID), setup(lead_resistance_ohm=None)))


def test_load_labels_that_contradict_the_current_are_flagged_by_row() -> None:
    table = points(GRID, load_percent=[10, 25, 55, math.nan, 98.5])
    assert "in row 4;" in flags_of(measured(table, setup()))["load-label"]
    honest = points(GRID, load_percent=[10, 25, 50, 75, 100])
    assert "load-label" not in flags_of(measured(honest, setup()))


def test_a_long_list_of_contradicted_labels_is_cut() -> None:
    table = points([0.5] * 9 + [5.0], load_percent=[50.0] * 9 + [100.0])
    assert "row 2, 3, 4, 5, 6 and 4 more" in flags_of(measured(table, setup()))["load-label"]


def test_load_beyond_the_advertised_current_is_flagged() -> None:
    outcome = measured(points([*GRID, 5.5]), setup())
    assert "110 % at 20 V" in flags_of(outcome)["over-rating"]


def test_the_trace_has_an_efficiency_column_for_every_output() -> None:
    table = together(
        points([5.0, 1.25, 0.0], power_factor=[0.95, 0.9, 0.2]),
        points([3.0, 1.5], nominal=3.3, losses=1.0, power_factor=[0.6, 0.5]),
    )
    outcome = measured(table, setup())
    trace = outcome.trace
    assert {len(column) for column in trace.values()} == {5}
    assert trace["output_nominal_v"].tolist() == [3.3, 3.3, 20, 20, 20]
    assert trace["output_current_a"].tolist() == [1.5, 3.0, 0.0, 1.25, 5.0]
    assert trace["power_factor"].tolist() == [0.5, 0.6, 0.2, 0.9, 0.95]
    assert trace["efficiency_3_3v"][:2] == pytest.approx([100 * 4.95 / 5.95, 100 * 9.9 / 10.9])
    assert np.isnan(trace["efficiency_3_3v"][2:]).all()
    assert np.isnan(trace["efficiency_20v"][:3]).all()
    assert trace["efficiency_20v"][3:] == pytest.approx([100 * 25 / 27.5, 100 * 100 / 102.5])
    assert trace["loss_w"] == pytest.approx([1, 1, 2.5, 2.5, 2.5])


def test_the_trace_holds_the_corrected_output() -> None:
    outcome = measured(points([5.0], voltages=19.9), setup(lead_resistance_ohm=0.02))
    assert outcome.trace["output_voltage_v"] == pytest.approx([20.0])
    assert outcome.trace["output_power_w"] == pytest.approx([100.0])


def test_every_column_of_the_chart_is_in_the_trace() -> None:
    table = together(points(GRID), points([1.0, 2.0], nominal=9.0, losses=1.0))
    outcome = measured(table, setup())
    plot = plot_of(outcome)
    assert {plot.x, *(line.column for line in plot.lines)} <= set(outcome.trace)
    assert [line.label for line in plot.lines] == ["9 V", "20 V"]
    assert "[W]" in plot.x_title
    assert "[%]" in plot.y_title


def test_the_title_states_average_and_best() -> None:
    outcome = measured(points(GRID), setup())
    average = sum(100 * load / (load + 2.5) for load in (25, 50, 75, 100)) / 4
    assert plot_of(outcome).title == f"{average:.1f} % on average at 20 V; best 97.6 %"


def test_the_title_says_where_the_best_point_is_when_it_is_elsewhere() -> None:
    table = together(points(GRID), points([3.0], nominal=9.0, losses=0.27))
    assert plot_of(measured(table, setup())).title.endswith("best 99.0 % at 9 V")


def test_the_title_says_that_there_is_no_average() -> None:
    title = plot_of(measured(points([5.0]), setup())).title
    assert title == "At best 97.6 % at 20 V; too few loads for an average"


def test_every_flag_and_metric_is_in_the_notes() -> None:
    notes = method_notes("efficiency")
    for code in (
        "assumed-rating",
        "over-rating",
        "interpolated",
        "missing-load",
        "one-load",
        "load-label",
        "lead-corrected",
        "no-instrument",
        "several-instruments",
        "weaker-port",
        *(metric.key for metric in KIND.metrics),
        *(field.name for field in KIND.fields),
    ):
        assert f"`{code}`" in notes
