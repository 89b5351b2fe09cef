"""Files that must not be computed, and what the person is told."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.intake.tables import read_table
from measurements.kinds.ripple import KIND
from tests.measurements.kinds.ripple.records import (
    POINT,
    STATED,
    measured,
    readings,
    setup,
    sine,
    value,
    waveform,
)

WAVE = sine(100e3, rate=1e6, seconds=1e-3, amplitude=0.02)


def table_of(**columns: Sequence[float]) -> Table:
    count = len(next(iter(columns.values())))
    return Table(
        columns={name: np.array(column, dtype=np.float64) for name, column in columns.items()},
        rows=np.arange(2, count + 2),
    )


def test_sound_files_of_either_form_have_no_problems() -> None:
    assert KIND.check(readings((5, 0, 12), (5, 3, 40)), setup()) == ()
    assert KIND.check(waveform(WAVE, rate=1e6), setup(fields=POINT)) == ()


@pytest.mark.parametrize(
    ("columns", "missing"),
    [
        ({"output_nominal_v": [5.0], "output_current_a": [1.0]}, {"ripple_mv_pp"}),
        ({"ripple_mv_pp": [5.0]}, {"output_nominal_v", "output_current_a"}),
        ({"time_s": [0.0], "ripple_mv_pp": [5.0]}, {"output_nominal_v", "output_current_a"}),
        ({"time_s": [0.0, 1.0]}, {"voltage_v"}),
        ({"voltage_v": [5.0, 5.0]}, {"time_s"}),
    ],
)
def test_missing_columns_of_a_form_are_named(
    columns: dict[str, list[float]], missing: set[str]
) -> None:
    problems = KIND.check(table_of(**columns), setup())
    assert {problem.column for problem in problems} == missing
    assert all("ripple_mv_pp" in p.detail and "voltage_v" in p.detail for p in problems)


@pytest.mark.parametrize(
    "columns",
    [
        ("time_s", "voltage_v", "ripple_mv_pp"),
        ("time_s", "voltage_v", "output_current_a"),
        ("voltage_v", "output_nominal_v"),
    ],
)
def test_a_mixture_of_the_two_forms_is_refused(columns: tuple[str, ...]) -> None:
    (problem,) = KIND.check(table_of(**{name: [1.0, 2.0] for name in columns}), setup())
    assert "mixes the two forms" in problem.detail


def test_a_file_without_any_column_or_row_is_refused() -> None:
    (problem,) = KIND.check(Table(columns={}, rows=np.array([], dtype=np.int64)), setup())
    assert "No column" in problem.detail
    (problem,) = KIND.check(readings(), setup())
    assert "no rows" in problem.detail
    (problem,) = KIND.check(table_of(time_s=[], voltage_v=[]), setup(fields=POINT))
    assert "no rows" in problem.detail


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ((math.nan, 1, 20), "output_nominal_v", "no finite number"),
        ((5, math.nan, 20), "output_current_a", "no finite number"),
        ((5, 1, math.inf), "ripple_mv_pp", "no finite number"),
        ((0, 1, 20), "output_nominal_v", "not possible"),
        ((-5, 1, 20), "output_nominal_v", "not possible"),
        ((5, -1, 20), "output_current_a", "into the adapter"),
        ((5, 1, -0.5), "ripple_mv_pp", "cannot be negative"),
        ((5, 1, 2501), "ripple_mv_pp", "half of the nominal"),
    ],
)
def test_an_impossible_reading_is_named_by_row_and_column(
    row: tuple[float, float, float], column: str, says: str
) -> None:
    (problem,) = KIND.check(readings((5, 0, 12), row, (5, 3, 40)), setup())
    assert (problem.row, problem.column) == (3, column)
    assert says in problem.detail


def test_a_meter_a_little_below_zero_is_no_load_and_no_problem() -> None:
    outcome = measured(readings((5, -0.004, 12), (5, 3, 40)), setup())
    assert value(outcome, "ripple-no-load", output_v=5.0).value == 12


def test_measured_voltages_in_the_place_of_nominal_ones_are_told() -> None:
    rows = [(5 + index / 1000, 1.0, 20.0) for index in range(201)]
    (problem,) = KIND.check(readings(*rows), setup())
    assert "201 different nominal voltages" in problem.detail


def test_a_file_that_is_wrong_in_every_row_gives_few_problems_and_the_number() -> None:
    voltage = np.full(100_000, math.nan)
    problems = KIND.check(waveform(voltage, rate=1e6), setup(fields=POINT))
    assert len(problems) == 51
    assert [problem.row for problem in problems[:2]] == [2, 3]
    assert "99950 more rows" in problems[-1].detail


@pytest.mark.parametrize("name", ["output_nominal_v", "output_current_a"])
@pytest.mark.parametrize("given_value", [None, "", math.nan, "much", 1000.0, -1.0, True, [20]])
def test_a_waveform_needs_voltage_and_current_in_the_form(name: str, given_value: Any) -> None:
    fields = {**POINT, name: given_value}
    problems = KIND.check(waveform(WAVE, rate=1e6), setup(fields=fields))
    assert [problem.column for problem in problems] == [name]


@pytest.mark.parametrize("bandwidth", [0, -20, math.inf, "wide"])
def test_a_bandwidth_that_is_none_is_named(bandwidth: Any) -> None:
    for table, fields in ((readings((5, 3, 40)), STATED), (waveform(WAVE, rate=1e6), POINT)):
        given_setup = setup(fields={**fields, "bandwidth_mhz": bandwidth})
        (problem,) = KIND.check(table, given_setup)
        assert problem.column == "bandwidth_mhz"


def test_a_waveform_of_a_few_samples_is_refused() -> None:
    (problem,) = KIND.check(waveform(WAVE[:31], rate=1e6), setup(fields=POINT))
    assert "31 samples" in problem.detail


def test_a_gap_in_the_samples_is_named_by_row() -> None:
    voltage = WAVE.copy()
    voltage[100] = math.nan
    (problem,) = KIND.check(waveform(voltage, rate=1e6), setup(fields=POINT))
    assert (problem.row, problem.column) == (102, "voltage_v")


@pytest.mark.parametrize(("shift", "refused"), [(0.005, False), (0.02, True)])
def test_uneven_sampling_is_refused_from_one_per_cent_on(shift: float, refused: bool) -> None:
    table = waveform(WAVE, rate=1e6)
    table["time_s"][500] += shift * 1e-6
    problems = KIND.check(table, setup(fields=POINT))
    assert bool(problems) is refused
    if refused:
        assert "unevenly spaced: 2 of 999 steps" in problems[0].detail
        assert (problems[0].row, problems[0].column) == (502, "time_s")


def test_a_segment_that_is_missing_is_uneven() -> None:
    table = waveform(WAVE, rate=1e6)
    table["time_s"][700:] += 1e-5
    # The mean step is then 1 % longer too, so that every step is off.
    (problem,) = KIND.check(table, setup(fields=POINT))
    assert "unevenly spaced" in problem.detail


@pytest.mark.parametrize(("at", "time"), [(5, 4e-6), (5, 3e-6), (999, -1.0)])
def test_time_that_stands_still_or_runs_backward_is_named_by_row(at: int, time: float) -> None:
    table = waveform(WAVE, rate=1e6)
    table["time_s"][at] = time
    (problem,) = KIND.check(table, setup(fields=POINT))
    assert (problem.row, problem.column) == (at + 2, "time_s")
    assert "does not lie after" in problem.detail


def test_time_is_checked_across_the_blocks_it_is_looked_at_in() -> None:
    table = waveform(np.tile([20.0, 20.01], 600_000), rate=1e6)
    table["time_s"][1 << 20 :] += 1e-7
    (problem,) = KIND.check(table, setup(fields=POINT))
    assert problem.row == (1 << 20) + 2


def test_a_fast_record_shorter_than_the_ends_of_the_filter_is_refused() -> None:
    voltage = sine(1e6, rate=1e9, seconds=0.5e-6, amplitude=0.02)
    (problem,) = KIND.check(waveform(voltage, rate=1e9), setup(fields=POINT))
    assert "500 samples are too few" in problem.detail


def test_a_record_of_the_output_being_switched_is_refused() -> None:
    voltage = np.concatenate([np.full(50, 5.0), np.full(50, 20.0)])
    (problem,) = KIND.check(waveform(voltage, rate=1e6), setup(fields=POINT))
    assert "spans 15 V" in problem.detail


@pytest.mark.parametrize(
    ("heading", "cell"),
    [("Ripple [mVpp]", "40"), ("Ripple p-p / Vp-p", "0.04"), ("ripple_mv_pp", "40")],
)
def test_a_column_in_peak_to_peak_units_is_read(tmp_path: Path, heading: str, cell: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text(f"output_nominal_v,Load current [A],{heading}\n20,5,{cell}\n", "utf-8")
    reading = read_table(path, KIND.columns, file_name="log.csv")
    assert reading.table is not None, reading.problems
    assert reading.table["ripple_mv_pp"] == pytest.approx([40])


@pytest.mark.parametrize("heading", ["Ripple [mV]", "Ripple [mVrms]", "ripple_pp_mv", "Vpp"])
def test_plain_or_rms_millivolts_are_never_read_as_peak_to_peak(
    tmp_path: Path, heading: str
) -> None:
    path = tmp_path / "log.csv"
    path.write_text(f"output_nominal_v,output_current_a,{heading}\n20,5,40\n", "utf-8")
    reading = read_table(path, KIND.columns, file_name="log.csv")
    assert reading.table is None
    (problem,) = reading.problems
    assert problem.column == heading
    assert "mVpp" in problem.detail


def test_a_waveform_below_a_preamble_with_units_in_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "record.csv"
    path.write_text(
        "Record length,2\nHorizontal scale,s\nTime [us],CH1 [mV]\n0,20010\n2.5,19990\n", "utf-8"
    )
    reading = read_table(path, KIND.columns, file_name="record.csv")
    assert reading.table is not None, reading.problems
    assert reading.table["time_s"] == pytest.approx([0, 2.5e-6])
    assert reading.table["voltage_v"] == pytest.approx([20.01, 19.99])


def test_a_file_without_headings_is_told_what_to_write(tmp_path: Path) -> None:
    path = tmp_path / "record.csv"
    path.write_text("1,2\n3,4\n", "utf-8")
    reading = read_table(path, KIND.columns, file_name="record.csv")
    assert reading.table is None
    assert "‘ripple_mv_pp’" in reading.problems[0].detail


NUMBERS = st.floats(-30, 60) | st.sampled_from([0.0, math.nan, math.inf, -math.inf, 1e300])


@settings(max_examples=200, deadline=None)
@given(rows=st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS), max_size=6))
def test_any_table_is_either_refused_with_a_reason_or_computed(
    rows: list[tuple[float, float, float]],
) -> None:
    table, given_setup = readings(*rows), setup()
    problems = KIND.check(table, given_setup)
    if problems:
        assert all(problem.detail for problem in problems)
        return
    for item in KIND.measure(table, given_setup).values:
        assert math.isfinite(item.value)
        assert item.value >= 0
        assert math.isfinite(item.standard_uncertainty)


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(0, 900),
    rate=st.sampled_from([1.0, 150.0, 1e4, 40e6, 40.0001e6, 40.7e6, 41e6, 1e9]),
    spoiled=st.none() | st.sampled_from([math.nan, math.inf, 0.0, 1e30]),
    scale=st.sampled_from([0.0, 1e-9, 0.01, 1.0, 40.0]),
    start=st.sampled_from([0.0, -1e-3, 1e9]),
)
def test_any_waveform_is_either_refused_with_a_reason_or_computed(
    *, seed: int, count: int, rate: float, spoiled: float | None, scale: float, start: float
) -> None:
    voltage = 20 + scale * np.random.default_rng(seed).normal(size=count)
    if spoiled is not None:
        voltage[count // 2 : count // 2 + 1] = spoiled
    table, given_setup = waveform(voltage, rate=rate, start=start), setup(fields=POINT)
    problems = KIND.check(table, given_setup)
    if problems:
        assert all(problem.detail for problem in problems)
        return
    outcome = KIND.measure(table, given_setup)
    assert len({len(column) for column in outcome.trace.values()}) == 1
    for item in outcome.values:
        assert math.isfinite(item.value)
        assert item.value >= 0
        assert math.isfinite(item.standard_uncertainty)
