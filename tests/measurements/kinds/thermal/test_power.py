"""A soak whose output power was logged: reduced, switched off, partial, recovered."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from measurements.intake.columns import FloatArray, Table
from measurements.intake.tables import read_table
from measurements.kinds.base import Accuracy, AdapterFacts, AdvertisedOutput, PortFacts
from measurements.kinds.strongest import strongest_port
from measurements.kinds.thermal import KIND
from measurements.kinds.thermal.power import full_load_w
from tests.measurements.kinds.thermal.records import (
    HOUR,
    LOGGER,
    flags_of,
    heating,
    measured,
    plot_of,
    record,
    setup,
    value,
    values_of,
)

METERS = (
    Accuracy("Load, voltage", "output_voltage", reading_percent=0.3, fixed=0.01),
    Accuracy("Load, current", "output_current", reading_percent=0.4, fixed=0.01),
)
BENCH = setup(accuracies=(LOGGER, *METERS))
REDUCED = np.where(HOUR < 1380, 100.0, 65.0)


def soak(power: FloatArray | float) -> Table:
    return record(ambient_c=25.0, top_c=heating(40), output_power_w=power)


def test_a_soak_that_keeps_its_power_has_no_onset_and_no_flag() -> None:
    outcome = measured(soak(100.0), BENCH)
    assert values_of(outcome, "throttle-onset") == []
    sustained = value(outcome, "sustained-power")
    assert sustained.value == pytest.approx(100)
    assert sustained.apart == ""
    # 0.3 % and 0.4 % of reading, rectangular, in quadrature: 0.5 W / sqrt(3).
    assert sustained.standard_uncertainty == pytest.approx(0.5 / math.sqrt(3))
    assert flags_of(outcome) == {}
    assert plot_of(outcome).bands == ()


def test_reduced_output_gives_onset_level_and_flag() -> None:
    outcome = measured(soak(REDUCED), BENCH)
    onset = value(outcome, "throttle-onset")
    assert onset.value == pytest.approx(23)
    assert onset.standard_uncertainty == pytest.approx(10 / 60 / math.sqrt(3))
    assert value(outcome, "sustained-power").value == pytest.approx(65)
    detail = flags_of(outcome)["throttled"]
    assert "from 100 W to 65 W at 23 min, to the end" in detail
    assert outcome.details.facts["power"] == {
        "load_on_min": 0.0,
        "level_w": 100.0,
        "reductions": [{"onset_min": 23.0, "level_w": 65.0, "recovery_min": None}],
    }


def test_temperatures_of_reduced_output_stay_with_a_deviation() -> None:
    outcome = measured(soak(REDUCED), BENCH)
    assert value(outcome, "surface-temperature").apart == ""
    (verdict,) = outcome.verdicts
    assert any("reduced from 100 W to 65 W at 23 min" in text for text in verdict.deviations)
    assert "would be hotter" in " ".join(verdict.deviations)


def test_no_curve_is_fitted_through_a_change_of_power() -> None:
    outcome = measured(soak(REDUCED), BENCH)
    assert values_of(outcome, "settled-temperature", sensor="top") == []
    assert "did not stay the same" in flags_of(outcome)["no-settled-fit"]


def test_a_recovery_is_told() -> None:
    low = (HOUR >= 1200) & (HOUR < 2460)
    outcome = measured(soak(np.where(low, 70.0, 100.0)), BENCH)
    assert "at 20 min, and was back at 41 min" in flags_of(outcome)["throttled"]
    assert value(outcome, "sustained-power").value == pytest.approx(100)


def test_several_reductions_are_counted() -> None:
    low = (HOUR // 600) % 2 == 1
    outcome = measured(soak(np.where(low, 70.0, 100.0)), BENCH)
    assert "3 times in all" in flags_of(outcome)["throttled"]
    assert [(band.start, band.stop) for band in plot_of(outcome).bands] == [
        (10, 20),
        (30, 40),
        (50, 60),
    ]


def test_of_many_bands_only_the_first_is_named() -> None:
    low = (HOUR // 240) % 2 == 1
    outcome = measured(soak(np.where(low, 70.0, 100.0)), BENCH)
    labels = [band.label for band in plot_of(outcome).bands]
    assert len(labels) == 7
    assert labels == ["output at 70 W", *[""] * 6]


def test_the_onset_counts_from_the_load_and_the_chart_from_the_first_row() -> None:
    power = np.where(HOUR < 120, 0.0, REDUCED)
    outcome = measured(soak(power), BENCH)
    assert value(outcome, "throttle-onset").value == pytest.approx(21)
    assert [band.start for band in plot_of(outcome).bands] == [23]


def test_chart_and_trace_show_the_reduction() -> None:
    outcome = measured(soak(REDUCED), BENCH)
    assert list(outcome.trace) == ["time_min", "top_c", "ambient_c", "output_power_w"]
    (band,) = plot_of(outcome).bands
    assert (band.start, band.stop, band.label) == (23, 60, "output at 65 W")
    assert "output reduced from 100 W to 65 W at 23 min" in plot_of(outcome).title
    assert "output_power_w" not in {line.column for line in plot_of(outcome).lines}


def test_output_that_is_off_is_not_called_reduced() -> None:
    outcome = measured(soak(np.where(HOUR < 3000, 100.0, 0.0)), BENCH)
    flags = flags_of(outcome)
    assert "throttled" not in flags
    assert "to 0 W at 50 min" in flags["output-off"]
    assert values_of(outcome, "throttle-onset") == []
    assert "was off" in value(outcome, "sustained-power").apart
    assert any("to 0 W" in text for text in outcome.verdicts[0].deviations)


def test_a_partial_load_sets_everything_apart_that_full_load_would_change() -> None:
    outcome = measured(soak(30.0), BENCH)
    assert "30 W, under 90% of the rated 100 W" in flags_of(outcome)["partial-load"]
    for metric in ("surface-temperature", "temperature-rise", "thermal-headroom"):
        assert "30 W" in value(outcome, metric).apart
    assert "30 W" in value(outcome, "sustained-power").apart
    assert any("30 W" in text for text in outcome.verdicts[0].deviations)
    # How fast a body settles does not depend on the power.
    assert value(outcome, "time-constant", sensor="top").apart == ""
    # The sentence about the standard's ambient does not come with it.
    assert not any("not recalculated" in text for text in outcome.verdicts[0].deviations)


def test_sustained_power_of_a_short_record_or_a_warm_room_stands_apart() -> None:
    time = np.arange(0.0, 1801.0, 10.0)
    short = record(
        time_s=time, ambient_c=25.0, top_c=heating(40, time_s=time), output_power_w=100.0
    )
    assert "30 min" in value(measured(short, BENCH), "sustained-power").apart
    warm = record(ambient_c=30.0, top_c=heating(40), output_power_w=100.0)
    assert "30 °C" in value(measured(warm, BENCH), "sustained-power").apart


def test_a_record_under_ten_minutes_has_no_sustained_power() -> None:
    time = np.arange(0.0, 590.0, 10.0)
    table = record(time_s=time, ambient_c=25.0, top_c=40.0, output_power_w=100.0)
    assert values_of(measured(table, BENCH), "sustained-power") == []


def test_power_logged_too_rarely_is_said_to_be_unclear() -> None:
    power = np.where(HOUR % 300 == 0, REDUCED, math.nan)
    outcome = measured(soak(power), BENCH)
    assert "fewer than 3 readings" in flags_of(outcome)["power-unclear"]
    assert outcome.details.facts["power"] is None
    assert values_of(outcome, "sustained-power") == []


def test_a_power_without_meter_is_flagged() -> None:
    outcome = measured(soak(100.0), setup())
    assert "no-power-instrument" in flags_of(outcome)
    assert value(outcome, "sustained-power").standard_uncertainty == 0


def test_scatter_of_the_last_ten_minutes_counts() -> None:
    power = 100 + np.where(np.arange(len(HOUR)) % 2, 1.0, -1.0)
    found = value(measured(soak(power), setup()), "sustained-power")
    count = int(np.sum(HOUR >= 3000))
    assert found.standard_uncertainty == pytest.approx(1 / math.sqrt(count), rel=0.02)


class TestFullLoad:
    ADAPTER = AdapterFacts(
        rated_power_w=130.0,
        ports=(PortFacts("A1", "usb-a"), PortFacts("C1", "usb-c", 65.0), PortFacts("C2", "usb-c")),
        advertised=(AdvertisedOutput("C2", 20.0, 5.0), AdvertisedOutput("C2", 5.0, 3.0)),
    )

    def test_a_ports_rating_goes_first_then_what_it_advertises(self) -> None:
        a1, c1, c2 = self.ADAPTER.ports
        assert full_load_w(self.ADAPTER, port=c1) == 65
        assert full_load_w(self.ADAPTER, port=c2) == 100
        assert full_load_w(self.ADAPTER, port=a1) is None

    def test_without_port_the_strongest_counts_or_the_rating(self) -> None:
        assert full_load_w(self.ADAPTER, port=None) == 100
        assert full_load_w(replace(self.ADAPTER, rated_power_w=90.0), port=None) == 90
        assert full_load_w(AdapterFacts(rated_power_w=20.0), port=None) == 20

    def test_the_only_port_has_the_adapters_rating(self) -> None:
        port = PortFacts("C1", "usb-c")
        assert full_load_w(AdapterFacts(rated_power_w=20.0, ports=(port,)), port=port) == 20

    def test_the_strongest_port_is_the_one_to_load(self) -> None:
        port = strongest_port(self.ADAPTER)
        assert port is not None
        assert port.label == "C2"
        assert strongest_port(AdapterFacts(rated_power_w=20.0)) is None

    def test_a_port_without_known_power_is_not_judged(self) -> None:
        a1 = self.ADAPTER.ports[0]
        bench = replace(BENCH, adapter=self.ADAPTER, port=a1)
        assert "partial-load" not in flags_of(measured(soak(12.0), bench))


def test_a_log_in_milliwatts_is_read_and_an_input_power_is_not_taken_for_it(
    tmp_path: Path,
) -> None:
    path = tmp_path / "soak.csv"
    path.write_text(
        "time_s,top_c,Output power [mW],Input power [W]\n0,25,65000,72\n10,26,65000,72\n"
    )
    table = read_table(path, KIND.columns, file_name="soak.csv").table
    assert table is not None
    assert table["output_power_w"].tolist() == [65, 65]
    path.write_text("time_s,top_c,Input power [W]\n0,25,72\n10,26,72\n")
    table = read_table(path, KIND.columns, file_name="soak.csv").table
    assert table is not None
    assert "output_power_w" not in table
