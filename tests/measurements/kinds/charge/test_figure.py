"""Trace and chart of a charge."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measurements.kinds.charge.records import HOUR, log, measured

RISING = np.linspace(0, 100, HOUR.size)
GAPPED = np.concatenate((np.arange(0.0, 1201.0), np.arange(1800.0, 3601.0)))


class TestTrace:
    def test_the_overlay_finds_its_three_columns(self) -> None:
        for table in (log(), log(battery_percent=RISING)):
            trace = measured(table).trace
            assert {"time_min", "power_w", "level_percent"} <= set(trace)
            assert trace["time_min"][-1] == 60
            assert (trace["power_w"] == 30).all()

    def test_minutes_count_from_the_start_of_the_charge(self) -> None:
        current = np.where(HOUR < 600, 0.0, 1.5)
        time = measured(log(current_a=current)).trace["time_min"]
        assert (time[0], time[-1]) == (-10, 50)

    def test_a_gap_is_a_row_without_values(self) -> None:
        trace = measured(log(time_s=GAPPED, battery_percent=GAPPED / 36)).trace
        (row,) = np.flatnonzero(np.isnan(trace["power_w"]))
        assert trace["time_min"][row] == 25
        assert all(np.isnan(trace[name][row]) for name in trace if name != "time_min")
        assert (np.diff(trace["time_min"]) > 0).all()

    def test_the_optional_columns_are_kept(self) -> None:
        trace = measured(log(battery_percent=RISING, input_power_w=33.0)).trace
        assert (trace["battery_percent"] == RISING).all()
        assert (trace["input_power_w"] == 33).all()


class TestChart:
    def test_the_title_says_how_long_and_how_strong(self) -> None:
        plot = measured(log(battery_percent=RISING)).plot
        assert plot is not None
        assert plot.title == (
            "80 % after 48.0 min and full after 60.0 min; longest at 30 W, for 60.0 min"
        )
        assert [rule.label for rule in plot.rules] == ["20 %", "50 %", "80 %", "full"]
        # The device is full at the last reading; the stage ends with the one before.
        (band,) = plot.bands
        assert (band.start, band.label) == (0, "30 W")
        assert band.stop == pytest.approx(3599 / 60)

    def test_without_milestones_it_says_how_long_the_charge_was(self) -> None:
        plot = measured(log()).plot
        assert plot is not None
        assert plot.title == "60.0 min of charging; longest at 30 W, for 60.0 min"

    def test_a_gap_is_a_band_of_its_own(self) -> None:
        plot = measured(log(time_s=GAPPED, battery_percent=GAPPED / 36)).plot
        assert plot is not None
        assert [(band.start, band.stop, band.label) for band in plot.bands] == [
            (0, 20, "30 W"),
            (20, 30, "10 min gap"),
            (30, pytest.approx(60, abs=0.02), "30 W"),
        ]

    def test_a_drop_out_and_what_it_came_back_to_are_one_mark(self) -> None:
        dead = (HOUR >= 1000) & (HOUR < 1012)
        voltage = np.select([dead, HOUR < 1000], [0.0, 20.0], 15.0)
        plot = measured(
            log(voltage_v=voltage, current_a=np.where(dead, 0.0, 1.5), battery_percent=RISING)
        ).plot
        assert plot is not None
        marks = {rule.label: rule.value for rule in plot.rules if "%" not in rule.label}
        assert set(marks) == {"12 s drop-out, then 15 V", "full"}
        assert marks["12 s drop-out, then 15 V"] == pytest.approx(1000 / 60)

    def test_a_renegotiation_is_a_line(self) -> None:
        voltage = np.where(HOUR < 2000, 20.0, 9.0)
        plot = measured(log(voltage_v=voltage, battery_percent=RISING)).plot
        assert plot is not None
        assert plot.rules[0].label == "20 → 9 V"
        assert plot.rules[0].value == pytest.approx(2000 / 60)

    def test_of_many_marks_the_longest_are_drawn(self) -> None:
        dead = (HOUR % 200 >= 100) & (HOUR % 200 < 110 + HOUR // 200)
        plot = measured(log(current_a=np.where(dead, 0.0, 1.5), battery_percent=RISING)).plot
        assert plot is not None
        drawn = [rule.label for rule in plot.rules if "drop-out" in rule.label]
        assert drawn == [f"{length} s drop-out" for length in (27, 26, 25, 24, 23)]
        assert len(plot.bands) <= 2

    def test_an_inferred_level_is_said(self) -> None:
        plot = measured(log(current_a=np.where(HOUR < 3000, 2.0, 0.0))).plot
        assert plot is not None
        assert "(level inferred)" in plot.title

    def test_a_record_that_is_no_stage_has_none_in_its_title(self) -> None:
        plot = measured(log(time_s=np.arange(0.0, 31.0))).plot
        assert plot is not None
        assert plot.title == "0.5 min of charging"
        assert plot.bands == ()
