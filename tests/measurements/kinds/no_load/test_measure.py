from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds import get_kind
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    Measured,
    Outcome,
    Plot,
    PortFacts,
    Setup,
)
from measurements.kinds.no_load.compute import measure
from tests.measurements.kinds.no_load.records import EUROPE, METER, steady, table

NO_METER = replace(EUROPE, accuracies=())

powers = st.lists(st.floats(0, 5), min_size=1, max_size=60)


def result(record: Table, setup: Setup = EUROPE) -> Outcome:
    return measure(record, setup)


def power_of(outcome: Outcome) -> Measured:
    return outcome.values[0]


def chart_of(outcome: Outcome) -> Plot:
    assert outcome.plot is not None
    return outcome.plot


def codes(outcome: Outcome) -> list[str]:
    return [flag.code for flag in outcome.flags]


def test_a_steady_quarter_of_an_hour_gives_its_power_without_a_flag() -> None:
    outcome = result(steady(0.0853))
    assert power_of(outcome).value == pytest.approx(0.0853)
    assert codes(outcome) == []
    assert power_of(outcome).condition.as_json() == {"line": "high"}
    assert power_of(outcome).apart == ""


def test_the_first_third_of_the_time_does_not_count() -> None:
    time = np.arange(901.0)
    power = np.where(time < 300, 9.0, 0.05)
    assert power_of(result(table(power, time=time))).value == pytest.approx(0.05)


def test_the_third_is_one_of_time_not_of_rows() -> None:
    # 600 readings in the first 300 s, 61 in the 600 s after them.
    time = np.concatenate([np.arange(0, 300, 0.5), np.arange(300, 901, 10.0)])
    power = np.where(time < 300, 9.0, 0.05)
    outcome = result(table(power, time=time))
    assert power_of(outcome).value == pytest.approx(0.05)


def test_time_may_start_anywhere() -> None:
    time = np.arange(901.0)
    power = 0.05 + 0.01 * np.sin(time)
    early = power_of(result(table(power, time=time)))
    late = power_of(result(table(power, time=time + 86_400)))
    assert late.value == pytest.approx(early.value)


def test_without_time_the_first_third_of_the_rows_does_not_count() -> None:
    outcome = result(table([9.0] * 3 + [0.05] * 6))
    assert power_of(outcome).value == pytest.approx(0.05)
    assert codes(outcome) == ["no-time"]
    assert outcome.trace["reading"].tolist() == list(range(1, 10))
    assert chart_of(outcome).x == "reading"
    assert "drift unknown" in chart_of(outcome).title


def test_one_reading_is_taken_as_it_is_and_flagged() -> None:
    for record in (table([0.07]), table([0.07], time=[0.0])):
        outcome = result(record)
        assert power_of(outcome).value == 0.07
        assert codes(outcome) == ["single-reading"]
        assert chart_of(outcome).bands == ()


def test_less_than_a_quarter_of_an_hour_is_a_short_record() -> None:
    assert codes(result(steady(seconds=899))) == ["short-record"]
    assert codes(result(steady(seconds=900))) == []


# IEC 62301:2011, sampling method (from memory): 10 mW/h up to 1 W, above that 1 % of the mean an
# hour. 901 readings a second apart, of which the first 300 are left out.
@pytest.mark.parametrize(
    ("start_w", "drift_w_per_h", "stable"),
    [
        (0.050, 0.008, True),
        (0.050, 0.012, False),
        (0.050, -0.012, False),
        (2.0, 0.018, True),
        (2.0, 0.022, False),
        (2.0, -0.022, False),
    ],
)
def test_stability_follows_the_slope_over_the_last_two_thirds_in_hours(
    start_w: float, drift_w_per_h: float, stable: bool
) -> None:
    outcome = result(steady(start_w, drift_w_per_h=drift_w_per_h))
    assert ("unstable" in codes(outcome)) is not stable
    for value in outcome.values:
        assert (value.apart == "") is stable
        assert stable or f"{drift_w_per_h * 1000:.1f} mW/h" in value.apart


def test_a_start_up_within_the_first_third_does_not_make_a_record_unstable() -> None:
    time = np.arange(901.0)
    power = np.where(time < 300, 1.0 - time / 1000, 0.05)
    assert codes(result(table(power, time=time))) == []


def test_uncertainty_joins_instrument_and_scatter_in_quadrature() -> None:
    # By hand: 0.1 % of 0.2 W + 0.5 mW is 0.7 mW; over √3. Readings alternate by ±10 mW.
    time = np.arange(901.0)
    power = 0.2 + 0.01 * (-1.0) ** time
    outcome = result(table(power, time=time))
    kept = power[300:]
    scatter = float(np.std(kept, ddof=1)) / math.sqrt(601)
    instrument = (0.001 * float(kept.mean()) + 0.0005) / math.sqrt(3)
    assert power_of(outcome).standard_uncertainty == pytest.approx(math.hypot(scatter, instrument))


def test_without_an_instrument_only_scatter_is_left_and_said_so() -> None:
    outcome = result(steady(), replace(EUROPE, accuracies=()))
    assert codes(outcome) == ["no-instrument"]
    assert power_of(outcome).standard_uncertainty == pytest.approx(0.0, abs=1e-12)
    other = replace(METER, quantity="output_voltage")
    assert codes(result(steady(), replace(EUROPE, accuracies=(other,)))) == ["no-instrument"]


def test_of_several_instruments_the_first_counts_and_is_named() -> None:
    second = replace(METER, name="spare meter", fixed=0.02)
    outcome = result(steady(0.2), replace(EUROPE, accuracies=(METER, second)))
    assert codes(outcome) == ["several-instruments"]
    assert METER.name in outcome.flags[0].detail
    assert power_of(outcome).standard_uncertainty == pytest.approx(0.0007 / math.sqrt(3))


@pytest.mark.parametrize(
    ("power", "fixed", "coarse"),
    [(0.05, 0.017, False), (0.05, 0.018, True), (3.0, 0.051, False), (3.0, 0.053, True)],
)
def test_an_instrument_coarser_than_the_method_allows_is_noted(
    power: float, fixed: float, coarse: bool
) -> None:
    # 2 · fixed/√3 against 0.02 W below 1 W, and 2 % of 3 W above: IEC 62301:2011, from memory.
    meter = Accuracy("plug meter", "input_power", reading_percent=0, fixed=fixed)
    outcome = result(steady(power), replace(EUROPE, accuracies=(meter,)))
    assert (codes(outcome) == ["coarse-instrument"]) is coarse


def test_readings_more_than_a_second_apart_are_noted() -> None:
    time = np.arange(0, 901, 5.0)
    assert codes(result(table(np.full(time.size, 0.05), time=time))) == ["coarse-sampling"]


def test_a_stalled_logger_is_noted_with_the_row_after_the_gap() -> None:
    time = np.concatenate([np.arange(500.0), np.arange(560.0, 1000.0)])
    outcome = result(table(np.full(time.size, 0.05), time=time))
    assert codes(outcome) == ["time-gap"]
    assert "61 s" in outcome.flags[0].detail
    assert "row 502" in outcome.flags[0].detail


def test_two_far_readings_cannot_show_stability() -> None:
    outcome = result(table([0.05, 0.05], time=[0.0, 1200.0]))
    assert codes(outcome) == ["few-readings", "coarse-sampling"]
    assert "drift unknown" in chart_of(outcome).title


@pytest.mark.parametrize(("volts", "flagged"), [(231.0, False), (226.0, True)])
def test_a_file_whose_mains_voltage_is_not_the_stated_one_is_flagged(
    volts: float, flagged: bool
) -> None:
    time = np.arange(901.0)
    record = table(np.full(901, 0.05), time=time, input_voltage_v=np.full(901, volts))
    outcome = result(record)
    assert (codes(outcome) == ["mains-differs"]) is flagged
    assert outcome.trace["input_voltage_v"][0] == volts
    assert codes(result(record, replace(EUROPE, mains_v=None))) == []


def test_a_voltage_column_without_a_reading_says_nothing() -> None:
    time = np.arange(901.0)
    record = table(np.full(901, 0.05), time=time, input_voltage_v=np.full(901, np.nan))
    assert codes(result(record)) == []


@pytest.mark.parametrize(("power", "energy"), [(0.269, 2.36), (0.169, 1.48)])
def test_energy_is_the_power_over_a_year(power: float, energy: float) -> None:
    # Common practice: 8760 h; the products are rounded to 0.01 kWh.
    _, measured = result(steady(power)).values
    assert measured.metric == "no-load-energy"
    assert measured.value == pytest.approx(energy, abs=0.005)
    assert measured.standard_uncertainty == pytest.approx(
        8.76 * result(steady(power)).values[0].standard_uncertainty
    )


@pytest.mark.parametrize(
    ("power", "energy"),
    [(0.05, 0.438), (0.075, 0.657), (0.1, 0.876), (0.15, 1.314), (0.21, 1.8396), (0.3, 2.628)],
)
def test_energy_of_the_published_limits(power: float, energy: float) -> None:
    assert result(steady(power)).values[1].value == pytest.approx(energy)


def test_the_value_is_judged_by_every_scheme() -> None:
    verdicts = result(steady(0.16)).verdicts
    assert [(verdict.scheme, verdict.limit, verdict.outcome) for verdict in verdicts] == [
        ("level-vi", 0.21, "pass"),
        ("eu-2019-1782", 0.21, "pass"),
        ("coc-v5-tier-1", 0.25, "pass"),
        ("coc-v5-tier-2", 0.15, "fail"),
    ]
    assert {verdict.quantity for verdict in verdicts} == {"no-load-power"}


def test_a_value_close_to_a_limit_is_undecided() -> None:
    outcomes = {v.scheme: v.outcome for v in result(steady(0.2103)).verdicts}
    assert outcomes["level-vi"] == "undecided"


def test_a_run_at_230_v_departs_from_level_vi_only() -> None:
    departures = {v.scheme: v.deviations for v in result(steady()).verdicts}
    assert departures["eu-2019-1782"] == ()
    # Mains voltage, mains frequency, warm-up.
    assert len(departures["level-vi"]) == 3


def test_a_short_record_qualifies_every_verdict() -> None:
    for verdict in result(steady(seconds=600)).verdicts:
        assert any("10.0 min" in sentence for sentence in verdict.deviations)


def test_a_small_adaptive_adapter_of_two_ports_is_judged_with_both_readings_stated() -> None:
    ports = (PortFacts("C1", "usb-c"), PortFacts("A1", "usb-a"))
    adapter = AdapterFacts(rated_power_w=33, supply="adaptive", ports=ports)
    verdicts = {
        v.scheme: v for v in result(steady(0.15), replace(EUROPE, adapter=adapter)).verdicts
    }
    european = verdicts["eu-2019-1782"]
    assert (european.limit, european.outcome) == (0.21, "pass")
    assert any("multiple-voltage" in sentence for sentence in european.deviations)
    assert any("adaptive" in sentence for sentence in european.deviations)
    assert verdicts["level-vi"].limit == 0.10


def test_the_chart_says_mean_and_drift_and_shades_the_third_left_out() -> None:
    outcome = result(steady(0.212, drift_w_per_h=0.0012))
    assert chart_of(outcome).title == "Draws 0.212 W on average; drift 1.2 mW/h"
    (band,) = chart_of(outcome).bands
    assert (band.start, band.stop) == (0.0, 5.0)
    (rule,) = chart_of(outcome).rules
    assert rule.value == power_of(outcome).value
    assert {line.column for line in chart_of(outcome).lines} | {chart_of(outcome).x} <= set(
        outcome.trace
    )
    assert outcome.trace["time_min"][-1] == 15.0


def test_a_drift_of_nothing_has_no_sign() -> None:
    assert chart_of(result(steady(0.05, drift_w_per_h=-1e-6))).title.endswith("drift 0.0 mW/h")


def test_computing_twice_gives_the_same() -> None:
    record = steady(0.08, drift_w_per_h=0.004)
    first, second = result(record), result(record)
    assert (first.values, first.flags, first.verdicts) == (
        second.values,
        second.flags,
        second.verdicts,
    )


@given(powers)
def test_the_mean_lies_between_lowest_and_highest_reading(readings: list[float]) -> None:
    value = power_of(result(table(readings))).value
    assert min(readings) - 1e-12 <= value <= max(readings) + 1e-12


@given(powers, st.floats(0.1, 10))
def test_without_instruments_value_and_uncertainty_scale_with_the_readings(
    readings: list[float], factor: float
) -> None:
    bare = replace(EUROPE, accuracies=())
    once = power_of(result(table(readings), bare))
    scaled = power_of(result(table([factor * reading for reading in readings]), bare))
    assert scaled.value == pytest.approx(factor * once.value, abs=1e-12)
    assert scaled.standard_uncertainty == pytest.approx(
        factor * once.standard_uncertainty, abs=1e-12
    )


@given(powers, st.floats(0, 2))
def test_an_offset_shifts_the_value_and_leaves_the_scatter(
    readings: list[float], offset: float
) -> None:
    bare = replace(EUROPE, accuracies=())
    once = power_of(result(table(readings), bare))
    shifted = power_of(result(table([reading + offset for reading in readings]), bare))
    assert shifted.value == pytest.approx(once.value + offset, abs=1e-9)
    assert shifted.standard_uncertainty == pytest.approx(once.standard_uncertainty, abs=1e-9)


def test_the_kind_gives_exactly_the_metrics_it_declares() -> None:
    kind = get_kind("no-load")
    assert [value.metric for value in kind.measure(steady(), EUROPE).values] == [
        metric.key for metric in kind.metrics
    ]


@pytest.mark.parametrize("samples", [1, 2, 997, 1000, 1201])
@pytest.mark.parametrize("power_w", [0.05, 0.1, 0.21])
def test_equal_readings_give_that_reading_to_the_last_digit(samples: int, power_w: float) -> None:
    outcome = result(table(np.full(samples, power_w), time=range(samples)), NO_METER)
    assert power_of(outcome).value == power_w
    assert power_of(outcome).standard_uncertainty == 0


def test_a_limit_that_is_met_exactly_is_passed_however_many_readings_there_are() -> None:
    setup = replace(NO_METER, adapter=AdapterFacts(rated_power_w=60, supply="single"))
    outcome = result(table(np.full(997, 0.21), time=range(997)), setup)
    verdict = next(item for item in outcome.verdicts if item.scheme == "level-vi")
    assert (verdict.limit, verdict.outcome) == (0.21, "pass")


def test_a_verdict_says_that_no_instrument_is_named_and_no_warm_up_recorded() -> None:
    unnamed = result(steady(), NO_METER)
    verdict = next(item for item in unnamed.verdicts if item.scheme == "level-vi")
    assert any("No instrument is named for input power" in text for text in verdict.deviations)
    # 10 CFR 430 Subpart B Appendix Z: 30 min at 100 % load, once per unit.
    assert any("30 min at full load" in text for text in verdict.deviations)
    named = next(item for item in result(steady()).verdicts if item.scheme == "level-vi")
    assert not any("No instrument" in text for text in named.deviations)


def test_a_power_that_no_adapter_takes_without_load_is_remarked() -> None:
    def codes(power_w: float) -> set[str]:
        return {flag.code for flag in measure(steady(power_w), EUROPE).flags}

    assert "high-power" in codes(28.75)
    assert "high-power" not in codes(0.5)
