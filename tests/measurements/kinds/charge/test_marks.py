"""Flags and marks of a charge, and the facts that are kept of it."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from measurements.kinds.base import Accuracy
from tests.measurements.kinds.charge.records import (
    ALL_METERS,
    HOUR,
    flags_of,
    log,
    measured,
    setup,
)

RISING = np.linspace(0, 100, HOUR.size)
GAPPED = np.concatenate((np.arange(0.0, 1201.0), np.arange(1800.0, 3601.0)))


def test_a_sound_charge_has_no_flags() -> None:
    assert flags_of(measured(log(battery_percent=RISING, input_power_w=33.0))) == {}


def test_an_inferred_level_is_flagged() -> None:
    current = np.where(HOUR < 3000, 2.0, 0.0)
    assert (
        "share of all charge" in flags_of(measured(log(current_a=current)))["inferred-charge-level"]
    )


def test_a_level_that_cannot_be_inferred_is_flagged_with_the_reason() -> None:
    assert "never stays below 5 %" in flags_of(measured(log()))["no-charge-level"]
    current = np.where(GAPPED < 3000, 2.0, 0.0)
    hidden = flags_of(measured(log(time_s=GAPPED, current_a=current)))["no-charge-level"]
    assert "more than 1 % of the charge" in hidden


def test_a_late_start_is_flagged_with_what_lay_before() -> None:
    flags = flags_of(measured(log(battery_percent=np.linspace(23, 100, HOUR.size))))
    assert "started at 23 %" in flags["start-level"]
    assert "20 %" in flags["level-passed"]
    assert "50 %" not in flags["level-passed"]


def test_a_charge_that_stops_early_is_flagged() -> None:
    flags = flags_of(measured(log(battery_percent=np.linspace(0, 80, HOUR.size))))
    assert "ends at 80 %" in flags["charge-unfinished"]


def test_gaps_are_named_by_their_times() -> None:
    outcome = measured(log(time_s=GAPPED, battery_percent=GAPPED / 30))
    flags = flags_of(outcome)
    assert "20.0 min to 30.0 min" in flags["gaps"]
    assert "50 %" in flags["milestone-in-gap"]
    assert outcome.details.facts["gaps"] == [[1200.0, 1800.0]]


def test_a_drop_out_is_marked_and_parts_no_stage() -> None:
    dead = (HOUR >= 1000) & (HOUR < 1020)
    outcome = measured(
        log(
            voltage_v=np.where(dead, 0.0, 20.0),
            current_a=np.where(dead, 0.0, 1.5),
            battery_percent=RISING,
        )
    )
    assert "16.7 min for 20 s" in flags_of(outcome)["drop-outs"]
    assert outcome.details.facts["dropouts"] == [[1000.0, 1020.0]]
    assert "voltage-steps" not in flags_of(outcome)
    (stage,) = outcome.details.facts["stages"]
    assert stage["mean_w"] == pytest.approx(30)


def test_a_long_drop_out_parts_the_stages() -> None:
    current = np.where((HOUR >= 1000) & (HOUR < 1200), 0.0, 1.5)
    outcome = measured(log(current_a=current, battery_percent=RISING))
    assert [stage["start_s"] for stage in outcome.details.facts["stages"]] == [0, 1200]


def test_a_voltage_too_low_to_be_a_supply_is_a_drop_out() -> None:
    voltage = np.where((HOUR >= 1000) & (HOUR < 1010), 1.9, 20.0)
    outcome = measured(log(voltage_v=voltage, battery_percent=RISING))
    assert outcome.details.facts["dropouts"] == [[1000.0, 1010.0]]


def test_pauses_of_a_device_that_is_full_are_no_drop_outs() -> None:
    level = np.minimum(100, RISING * 2)
    current = np.where((HOUR > 1800) & (HOUR % 100 < 90), 0.0, 1.5)
    outcome = measured(log(current_a=current, battery_percent=level))
    assert outcome.details.facts["dropouts"] == []


def test_a_drop_out_into_a_gap_ends_where_the_log_does() -> None:
    time = np.array([*range(600), *range(1200, 1800)], dtype=np.float64)
    current = np.where((time >= 590) & (time < 1210), 0.0, 1.5)
    facts = measured(log(time_s=time, current_a=current)).details.facts
    assert facts["dropouts"] == [[590.0, 599.0], [1200.0, 1210.0]]


def test_renegotiations_are_marked_with_time_and_levels() -> None:
    voltage = np.select([HOUR < 300, HOUR < 2000], [5.0, 20.0], 9.0)
    outcome = measured(log(voltage_v=voltage, battery_percent=RISING))
    assert outcome.details.facts["steps"] == [
        {"at_s": 300.0, "from_v": 5.0, "to_v": 20.0},
        {"at_s": 2000.0, "from_v": 20.0, "to_v": 9.0},
    ]
    assert "5.0 min 5.0 → 20.0 V" in flags_of(outcome)["voltage-steps"]


def test_many_marks_are_counted_rather_than_named() -> None:
    dead = (HOUR % 200 >= 100) & (HOUR % 200 < 110)
    outcome = measured(log(current_a=np.where(dead, 0.0, 1.5), battery_percent=RISING))
    assert flags_of(outcome)["drop-outs"].count("min for") == 5
    assert "13 more" in flags_of(outcome)["drop-outs"]


def test_a_current_that_runs_back_is_flagged() -> None:
    current = np.where((HOUR >= 60) & (HOUR < 120), -0.5, 1.5)
    flags = flags_of(measured(log(current_a=current, battery_percent=RISING)))
    assert "-0.5 A at 1.0 min" in flags["reverse-current"]
    noise = np.where(HOUR < 60, -0.01, 1.5)
    assert "reverse-current" not in flags_of(measured(log(current_a=noise, battery_percent=RISING)))


@pytest.mark.parametrize(("stated", "differs"), [(30.5, False), (31.0, True), (20.0, True)])
def test_a_stated_power_that_is_not_voltage_times_current_is_flagged(
    stated: float, differs: bool
) -> None:
    flags = flags_of(measured(log(battery_percent=RISING, output_power_w=stated)))
    assert ("power-differs" in flags) is differs


def test_coarse_readings_are_flagged() -> None:
    time = np.arange(0.0, 3601.0, 30.0)
    flags = flags_of(measured(log(time_s=time, battery_percent=time / 36)))
    assert "30 s apart" in flags["coarse-sampling"]


def test_a_log_without_ten_seconds_in_one_piece_has_no_peak() -> None:
    time = [0, 1, 2, 3, 100, 101, 102, 103]
    outcome = measured(log(time_s=time, battery_percent=np.arange(8)))
    assert "no-peak" in flags_of(outcome)
    assert "charge-peak-power" not in {item.metric for item in outcome.values}


def test_unnamed_instruments_are_flagged_for_what_the_file_holds() -> None:
    flags = flags_of(measured(log(battery_percent=RISING), setup(accuracies=())))
    assert "output voltage and output current;" in flags["no-instrument"]
    other = Accuracy("Spare", "output_current", reading_percent=1, fixed=0)
    several = flags_of(
        measured(log(battery_percent=RISING), setup(accuracies=(*ALL_METERS, other)))
    )
    assert "Ammeter for output current" in several["several-instruments"]


def test_an_efficiency_at_unknown_mains_is_flagged() -> None:
    table = log(battery_percent=RISING, input_power_w=33.0)
    assert "not stated" in flags_of(measured(table, setup(line="")))["mains-unknown"]
    assert "mains-unknown" not in flags_of(measured(table, setup(line="low")))


def test_the_facts_are_plain_and_whole() -> None:
    outcome = measured(log(battery_percent=RISING))
    facts = json.loads(json.dumps(outcome.details.facts, allow_nan=False))
    assert facts["device"] == "invented-slate"
    assert (facts["start_level"], facts["end_level"], facts["level_from"]) == (0, 100, "battery")
    assert facts["milestones"] == {
        "20": pytest.approx(720),
        "50": pytest.approx(1800),
        "80": pytest.approx(2880),
        "100": pytest.approx(3600),
    }
    inferred = measured(log(current_a=np.where(HOUR < 3000, 2.0, 0.0))).details.facts
    assert (inferred["start_level"], inferred["level_from"]) == (None, "charge")
    assert measured(log()).details.facts["level_from"] is None
    assert not math.isnan(facts["stages"][0]["mean_w"])
