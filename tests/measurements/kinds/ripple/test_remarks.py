"""Flags, trace and chart of a ripple run."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from measurements.kinds.base import Accuracy
from measurements.metrics import FloatArray
from measurements.metrics.downsample import downsample
from tests.measurements.kinds.ripple.records import (
    POINT,
    SCOPE,
    STATED,
    flags_of,
    measured,
    plot_of,
    readings,
    setup,
    sine,
    waveform,
)

SOUND = readings((5, 0, 30), (5, 3, 48), (20, 0, 21), (20, 5, 62))
MAINS = sine(100, rate=1e5, seconds=0.04, amplitude=0.01)


def flags(voltage: FloatArray, *, rate: float, fields: Mapping[str, Any] = POINT) -> dict[str, str]:
    return flags_of(measured(waveform(voltage, rate=rate), setup(fields=fields)))


def test_a_sound_table_has_no_flags() -> None:
    assert flags_of(measured(SOUND, setup())) == {}


def test_a_sound_waveform_is_remarked_upon_only_for_its_one_voltage_and_filter() -> None:
    rate = 50e6
    voltage = sine(1e6, rate=rate, seconds=0.02, amplitude=0.01)
    assert set(flags(voltage, rate=rate)) == {"band-limited", "one-voltage"}


@pytest.mark.parametrize(
    ("bandwidth", "code"),
    [
        (None, "bandwidth-unknown"),
        ("", "bandwidth-unknown"),
        (1, "narrow-bandwidth"),
        (200, "wide-bandwidth"),
    ],
)
def test_the_bandwidth_of_readings_is_remarked_upon(bandwidth: Any, code: str) -> None:
    outcome = measured(SOUND, setup(fields={**STATED, "bandwidth_mhz": bandwidth}))
    assert set(flags_of(outcome)) == {code}
    (flag,) = outcome.flags
    assert flag.severity == ("note" if code == "bandwidth-unknown" else "warning")


def test_what_the_filter_took_is_told() -> None:
    voltage = sine(1e6, rate=500e6, seconds=1e-5, amplitude=0.01)
    detail = flags(voltage, rate=500e6)["band-limited"]
    assert "500 MS/s" in detail
    assert "145 samples" in detail
    assert "band-limited" not in flags(MAINS, rate=1e5)


@pytest.mark.parametrize(
    ("rate", "bandwidth", "says"),
    [
        (1e5, None, "50 kHz only (half of 0.1 MS/s)"),
        (40e6, None, ""),
        (100e6, 200, ""),
        (100e6, 5, "5 MHz only (the instrument's bandwidth)"),
        (1e6, 20, "500 kHz only"),
    ],
)
def test_a_narrow_bandwidth_of_a_waveform_is_flagged(
    rate: float, bandwidth: float | None, says: str
) -> None:
    voltage = sine(rate / 50, rate=rate, seconds=4000 / rate, amplitude=0.01)
    found = flags(voltage, rate=rate, fields={**POINT, "bandwidth_mhz": bandwidth})
    assert says in found.get("narrow-bandwidth", "")
    assert bool(says) is ("narrow-bandwidth" in found)


def test_a_record_shorter_than_a_mains_cycle_is_flagged() -> None:
    assert "short-for-mains" not in flags(MAINS[:2000], rate=1e5)
    assert "(20 ms)" in flags(MAINS[:1900], rate=1e5)["short-for-mains"]


def test_an_assumed_mains_frequency_is_told() -> None:
    outcome = measured(waveform(MAINS, rate=1e5), setup(fields=POINT, mains_hz=None))
    assert "50 Hz" in flags_of(outcome)["assumed-mains"]


def test_a_clipped_record_is_flagged() -> None:
    clipped = np.clip(MAINS, 19.995, 20.005)
    # A sine spends arccos(1/2)/π = 1/3 of its time above half its amplitude; of 1000 samples a
    # period 334 do, the border included.
    assert flags(clipped, rate=1e5)["clipped"].startswith("33.4% of the samples")
    assert "clipped" not in flags(MAINS, rate=1e5)


def test_a_flat_record_is_flagged() -> None:
    found = flags(np.full(5000, 20.0), rate=1e5)
    assert "flat-record" in found
    assert "weak-line" not in found


def test_noise_has_a_weak_line() -> None:
    noise = 20 + 0.01 * np.random.default_rng(1).normal(size=5000)
    assert "weak-line" in flags(noise, rate=1e5)
    assert "weak-line" not in flags(MAINS, rate=1e5)


@pytest.mark.parametrize(
    ("mean", "differs"), [(0.0, False), (-0.9, False), (19.0, False), (5.0, True), (-14.0, True)]
)
def test_a_mean_of_another_output_is_flagged(mean: float, differs: bool) -> None:
    assert ("mean-differs" in flags(MAINS - 20 + mean, rate=1e5)) is differs


def test_voltages_measured_in_one_state_only_are_told() -> None:
    outcome = measured(readings((5, 0, 30), (20, 5, 62)), setup())
    detail = flags_of(outcome)["missing-load"]
    assert detail == "No reading without load at 20 V and none with load at 5 V."


def test_operating_points_that_keep_values_apart_are_told() -> None:
    outcome = measured(readings((20, 0, 20), (20, 2, 30)), setup())
    found = flags_of(outcome)
    assert "2 A of 5 A at 20 V" in found["partial-load"]
    assert "Only 20 V" in found["one-voltage"]
    assert (
        "at 9 V" in flags_of(measured(readings((9, 3, 30), (9, 0, 30)), setup()))["assumed-rating"]
    )


def test_input_of_the_other_form_that_was_not_used_is_told() -> None:
    table = readings((5, 0, 30), (5, 3, 48), (20, 0, 21), (20, 5, 62), voltage_v=[5, 5, 20, 20])
    found = flags_of(measured(table, setup(fields={**STATED, "output_current_a": 3.0})))
    assert "output_current_a of the form and the column voltage_v" in found["unused-input"]


def test_capacitors_and_instruments_that_are_missing_or_too_many_are_told() -> None:
    bare = flags_of(measured(SOUND, setup(fields={"capacitors": "  "}, accuracies=())))
    assert {"capacitors-unknown", "no-instrument"} <= set(bare)
    spare = Accuracy("Spare", "ripple", reading_percent=0, fixed=2)
    detail = flags_of(measured(SOUND, setup(accuracies=(SCOPE, spare))))["several-instruments"]
    assert "Scope" in detail


def test_the_chart_of_readings_has_a_line_for_each_voltage() -> None:
    outcome = measured(readings((20, 5, 62), (3.3, 3, 40), (20, 0, 21)), setup())
    assert list(outcome.trace["output_current_a"]) == [3, 0, 5]
    assert [(line.column, line.label) for line in plot_of(outcome).lines] == [
        ("ripple_3_3v", "3.3 V"),
        ("ripple_20v", "20 V"),
    ]
    assert np.array_equal(outcome.trace["ripple_20v"], [math.nan, 21, 62], equal_nan=True)
    assert plot_of(outcome).title == (
        "Largest ripple 62.0 mV peak to peak at 20 V, 5 A (0.31 % of nominal)"
    )
    assert "[mV]" in plot_of(outcome).y_title


def test_several_voltages_are_drawn_over_the_share_of_their_currents() -> None:
    """So that every line ends at the edge, where its name has room."""
    table = readings((5, 0, 30), (5, 1.5, 40), (5, 3, 48), (20, 0, 21), (20, 5, 62))
    outcome = measured(table, setup())
    assert plot_of(outcome).x == "load_percent"
    assert plot_of(outcome).x_title == "Load [% of the advertised current]"
    assert list(outcome.trace["load_percent"]) == [0, 50, 100, 0, 100]


def test_where_no_current_is_advertised_the_largest_measured_is_full_load() -> None:
    table = readings((5, 0, 30), (5, 3, 48), (9, 0, 12), (9, 1, 31), (9, 2, 30), (12, 0, 3))
    outcome = measured(table, setup())
    assert list(outcome.trace["load_percent"]) == [0, 100, 0, 50, 100, 0]
    assert "largest measured" in plot_of(outcome).x_title


def test_a_single_voltage_is_drawn_over_its_current() -> None:
    outcome = measured(readings((20, 0, 21), (20, 5, 62)), setup())
    assert plot_of(outcome).x == "output_current_a"
    assert plot_of(outcome).x_title == "Output current [A]"


def test_the_drawing_of_a_long_waveform_is_thin_and_keeps_its_extremes() -> None:
    voltage = sine(1230.0, rate=1e6, seconds=0.1, amplitude=0.02)
    voltage[77_777] += 0.05
    outcome = measured(waveform(voltage, rate=1e6), setup(fields=POINT))
    assert len(outcome.trace["ripple_mv"]) <= 20_000
    (whole,) = {v.value for v in outcome.values if v.metric == "ripple-loaded"}
    assert float(np.ptp(outcome.trace["ripple_mv"])) == whole
    at = int(np.argmax(outcome.trace["ripple_mv"]))
    assert outcome.trace["time_ms"][at] == pytest.approx(77.777)


@pytest.mark.parametrize(
    ("rate", "count", "column", "per_second"),
    [(1e8, 5000, "time_us", 1e6), (1e5, 5000, "time_ms", 1e3), (1e3, 5000, "time_s", 1.0)],
)
def test_the_chart_of_a_waveform_has_a_fitting_axis_of_time(
    rate: float, count: int, column: str, per_second: float
) -> None:
    voltage = sine(rate / 100, rate=rate, seconds=count / rate, amplitude=0.01)
    outcome = measured(waveform(voltage, rate=rate, start=-0.25), setup(fields=POINT))
    assert plot_of(outcome).x == column
    assert list(outcome.trace) == [column, "ripple_mv"]
    time = outcome.trace[column]
    assert time[0] == 0
    assert time[-1] == pytest.approx((len(time) - 1) / rate * per_second, rel=1e-6)
    assert {plot_line.column for plot_line in plot_of(outcome).lines} <= set(outcome.trace)


def test_the_envelope_of_the_chart_keeps_the_peak_to_peak_value() -> None:
    voltage = sine(1230.0, rate=1e6, seconds=0.1, amplitude=0.02)
    outcome = measured(waveform(voltage, rate=1e6), setup(fields=POINT))
    thinned = downsample(outcome.trace, points=2000, x=plot_of(outcome).x)["ripple_mv"]
    (whole,) = {v.value for v in outcome.values if v.metric == "ripple-loaded"}
    assert float(np.ptp(thinned)) == pytest.approx(whole)
    assert [rule.label for rule in plot_of(outcome).rules] == [
        "highest +20.0 mV",
        "lowest −20.0 mV",
    ]


@pytest.mark.parametrize(
    ("frequency", "rate", "text"),
    [(132e3, 2e6, "132 kHz"), (2.5e6, 50e6, "2.5 MHz"), (100.0, 1e5, "100 Hz")],
)
def test_the_title_of_a_waveform_states_the_finding(
    frequency: float, rate: float, text: str
) -> None:
    voltage = sine(frequency, rate=rate, seconds=100 / frequency, amplitude=0.02)
    outcome = measured(waveform(voltage, rate=rate), setup(fields=POINT))
    assert plot_of(outcome).title.endswith(
        f"mV peak to peak at 20 V, 5 A; strongest line at {text}"
    )
    flat = measured(waveform(np.full(100, 20.0), rate=1e6), setup(fields=POINT))
    assert plot_of(flat).title == "0.0 mV peak to peak at 20 V, 5 A: a flat record"
