"""What the public contract promises of every value of a thermal run."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.kinds.base import Accuracy
from measurements.kinds.thermal import KIND
from tests.measurements.kinds.thermal.records import (
    HOUR,
    heating,
    measured,
    record,
    setup,
    value,
    values_of,
)


def test_the_kind_declares_the_metrics_of_the_contract() -> None:
    declared = {item.key: (item.unit, item.better, item.condition) for item in KIND.metrics}
    assert declared == {
        "surface-temperature": ("°C", "lower", ("line",)),
        "temperature-rise": ("K", "lower", ("line",)),
        "settled-temperature": ("°C", "lower", ("line", "sensor")),
        "time-constant": ("min", "", ("line", "sensor")),
        "final-slope": ("K/h", "", ("line", "sensor")),
        "throttle-onset": ("min", "higher", ("line",)),
        "sustained-power": ("W", "higher", ("line",)),
        "thermal-headroom": ("K", "higher", ("line",)),
    }


def test_what_has_no_better_side_or_not_every_adapter_has_is_not_ranked() -> None:
    unranked = {item.key for item in KIND.metrics if not item.ranked}
    assert unranked == {"time-constant", "final-slope", "throttle-onset"}


def test_the_kind_declares_the_columns_and_fields_of_the_contract() -> None:
    assert {column.name: column.required for column in KIND.columns} == {
        "time_s": True,
        "ambient_c": False,
        "output_power_w": False,
        "*_c": True,
    }
    assert [(item.name, item.type) for item in KIND.fields] == [("materials", "json")]


def test_exact_curves_give_every_value_in_closed_form() -> None:
    table = record(ambient_c=25.0, top_c=heating(45, tau_min=12), prongs_c=heating(30, tau_min=8))
    outcome = measured(table, setup(materials={"prongs": "metal"}))
    top = 25 + 45 * (1 - math.exp(-60 / 12))
    prongs = 25 + 30 * (1 - math.exp(-60 / 8))
    assert value(outcome, "surface-temperature").value == pytest.approx(top)
    assert value(outcome, "surface-temperature", sensor="top").value == pytest.approx(top)
    assert value(outcome, "surface-temperature", sensor="prongs").value == pytest.approx(prongs)
    assert value(outcome, "temperature-rise").value == pytest.approx(top - 25)
    assert value(outcome, "settled-temperature", sensor="top").value == pytest.approx(70)
    assert value(outcome, "time-constant", sensor="top").value == pytest.approx(12)
    assert value(outcome, "settled-temperature", sensor="prongs").value == pytest.approx(55)
    assert value(outcome, "time-constant", sensor="prongs").value == pytest.approx(8)
    # Touch limits at 1 s to 10 s: plastic 77 °C (secondary), metal 60 °C (from memory).
    assert value(outcome, "thermal-headroom").value == pytest.approx(60 - prongs)
    assert not any(item.apart for item in outcome.values)


def test_time_may_start_anywhere() -> None:
    table = record(time_s=HOUR + 86_400, ambient_c=25.0, top_c=heating(45))
    found = value(measured(table, setup()), "time-constant", sensor="top")
    assert found.value == pytest.approx(15)


@pytest.mark.parametrize(
    ("enclosure", "limit"), [("metal", 60), ("glass", 71), ("plastic", 77), ("wood", 107)]
)
def test_the_enclosure_is_the_material_of_sensors_that_are_not_named(
    enclosure: str, limit: float
) -> None:
    outcome = measured(record(ambient_c=25.0, top_c=50.0), setup(enclosure=enclosure))
    assert value(outcome, "thermal-headroom").value == limit - 50


@pytest.mark.parametrize("name", ["top_face", "Top face", "top_face_c", "TOP-FACE"])
def test_a_sensor_may_be_named_as_a_person_does(name: str) -> None:
    table = record(ambient_c=25.0, top_face_c=50.0)
    outcome = measured(table, setup(materials={name: "metal"}))
    assert value(outcome, "thermal-headroom").value == 10


@pytest.mark.parametrize("name", ["USB-C", "usb_c", "usb_c_c"])
def test_a_sensor_whose_name_ends_like_the_unit_is_found(name: str) -> None:
    outcome = measured(record(ambient_c=25.0, usb_c_c=50.0), setup(materials={name: "metal"}))
    assert value(outcome, "surface-temperature", sensor="usb_c").value == 50
    assert value(outcome, "thermal-headroom").value == 10


def test_the_headroom_may_be_negative() -> None:
    outcome = measured(record(ambient_c=25.0, top_c=80.5), setup())
    assert value(outcome, "thermal-headroom").value == pytest.approx(-3.5)


class TestAmbient:
    def test_the_column_goes_before_the_form(self) -> None:
        table = record(ambient_c=24.0, top_c=heating(40, ambient=24.0))
        outcome = measured(table, setup(ambient_c=30.0))
        settled = value(outcome, "settled-temperature", sensor="top")
        assert settled.value == pytest.approx(64)
        assert settled.apart == ""

    def test_the_form_serves_without_a_column(self) -> None:
        outcome = measured(record(top_c=heating(40)), setup(ambient_c=25.0))
        assert value(outcome, "settled-temperature", sensor="top").value == pytest.approx(65)
        rise = value(outcome, "temperature-rise").value
        assert rise == pytest.approx(40 * (1 - math.exp(-4)))

    def test_the_form_serves_when_the_column_is_blank(self) -> None:
        outcome = measured(record(ambient_c=math.nan, top_c=heating(40)), setup(ambient_c=25.0))
        assert value(outcome, "settled-temperature", sensor="top").value == pytest.approx(65)

    def test_without_any_there_is_neither_rise_nor_curve(self) -> None:
        outcome = measured(record(top_c=heating(40)), setup())
        metrics = {item.metric for item in outcome.values}
        assert metrics == {"surface-temperature", "thermal-headroom", "final-slope"}
        assert all(
            "not recorded" in item.apart for item in outcome.values if item.metric != "final-slope"
        )

    def test_the_rise_is_counted_from_the_ambient_of_the_same_row(self) -> None:
        ambient = [24.0, 26.0, 25.0, math.nan]
        table = record(time_s=[0, 60, 120, 180], ambient_c=ambient, top_c=[30, 41, 40.5, 35])
        rise = value(measured(table, setup()), "temperature-rise")
        assert rise.value == pytest.approx(15.5)

    @pytest.mark.parametrize(
        ("ambient", "comparable"),
        [(23.0, True), (25.0, True), (27.0, True), (22.9, False), (27.1, False), (29.1, False)],
    )
    def test_25_plus_minus_2_is_comparable(self, ambient: float, comparable: bool) -> None:
        outcome = measured(record(ambient_c=ambient, top_c=heating(40, ambient=ambient)), setup())
        for metric in ("surface-temperature", "thermal-headroom"):
            apart = value(outcome, metric).apart
            assert (apart == "") is comparable
            if not comparable:
                assert f"{ambient:g} °C" in apart
        for item in outcome.values:
            if item.metric in ("temperature-rise", "time-constant"):
                assert item.apart == ""
            if item.metric == "settled-temperature":
                assert (item.apart == "") is comparable


class TestUncertainty:
    """The logger of these records is accurate to ±(0.1 % + 0.5 K)."""

    def test_a_highest_reading_carries_the_instrument(self) -> None:
        outcome = measured(record(ambient_c=25.0, top_c=70.0, side_c=50.0), setup())
        by_hand = (0.001 * 70 + 0.5) / math.sqrt(3)
        for found in (
            value(outcome, "surface-temperature"),
            value(outcome, "surface-temperature", sensor="top"),
            value(outcome, "thermal-headroom"),
        ):
            assert found.standard_uncertainty == pytest.approx(by_hand)

    def test_the_rise_carries_the_error_of_both_sensors(self) -> None:
        outcome = measured(record(ambient_c=25.0, top_c=70.0), setup())
        surface, ambient = ((0.001 * reading + 0.5) / math.sqrt(3) for reading in (70, 25))
        by_hand = math.hypot(surface, ambient)
        rise = value(outcome, "temperature-rise")
        assert rise.standard_uncertainty == pytest.approx(by_hand, rel=1e-9)

    def test_an_ambient_from_the_form_is_taken_as_exact(self) -> None:
        outcome = measured(record(top_c=70.0), setup(ambient_c=25.0))
        by_hand = (0.001 * 70 + 0.5) / math.sqrt(3)
        rise = value(outcome, "temperature-rise")
        assert rise.standard_uncertainty == pytest.approx(by_hand, rel=1e-9)

    def test_scatter_of_the_fit_adds_in_quadrature(self) -> None:
        noise = np.random.default_rng(5).normal(0, 0.5, len(HOUR))
        table = record(ambient_c=25.0, top_c=heating(40) + noise)
        with_logger = measured(table, setup())
        without = measured(table, setup(accuracies=()))
        settled = value(with_logger, "settled-temperature", sensor="top")
        scatter = value(without, "settled-temperature", sensor="top").standard_uncertainty
        assert scatter > 0
        instrument = (0.001 * settled.value + 0.5) / math.sqrt(3)
        assert settled.standard_uncertainty == pytest.approx(math.hypot(instrument, scatter))
        # An offset or gain of the instrument does not change the time constant.
        assert (
            value(with_logger, "time-constant", sensor="top").standard_uncertainty
            == value(without, "time-constant", sensor="top").standard_uncertainty
            > 0
        )

    def test_the_settled_temperature_really_moves_with_the_instrument(self) -> None:
        """The whole record, ambient included, shifted by one standard uncertainty and refitted."""
        logger = Accuracy("Logger", "temperature", reading_percent=0.4, fixed=0.5)
        plain = measured(record(ambient_c=25.0, top_c=heating(40)), setup(accuracies=(logger,)))
        gain, offset = 1 + 0.004 / math.sqrt(3), 0.5 / math.sqrt(3)
        shifted = measured(
            record(ambient_c=gain * 25.0 + offset, top_c=gain * heating(40) + offset), setup()
        )
        settled = value(plain, "settled-temperature", sensor="top")
        moved = value(shifted, "settled-temperature", sensor="top").value - settled.value
        assert settled.standard_uncertainty == pytest.approx(moved, rel=1e-6)

    def test_it_is_zero_without_an_instrument(self) -> None:
        outcome = measured(record(ambient_c=25.0, top_c=70.0), setup(accuracies=()))
        assert value(outcome, "surface-temperature").standard_uncertainty == 0
        assert value(outcome, "temperature-rise").standard_uncertainty == 0


class TestFinalSlope:
    def test_a_straight_rise_has_its_own_slope_without_error(self) -> None:
        table = record(ambient_c=25.0, top_c=25 + HOUR / 360)
        found = value(measured(table, setup(accuracies=())), "final-slope", sensor="top")
        assert found.value == pytest.approx(10)
        assert found.standard_uncertainty == pytest.approx(0, abs=1e-9)

    def test_only_the_last_ten_minutes_count(self) -> None:
        table = record(ambient_c=25.0, top_c=np.where(HOUR < 3000, 25 + HOUR / 100, 60.0))
        found = value(measured(table, setup()), "final-slope", sensor="top")
        assert found.value == pytest.approx(0, abs=1e-9)

    def test_an_exponential_is_as_steep_as_its_derivative(self) -> None:
        table = record(ambient_c=25.0, top_c=heating(40, tau_min=15))
        found = value(measured(table, setup()), "final-slope", sensor="top")
        # The chord's slope at the middle of the window, 55 min; the curve hardly bends there.
        assert found.value == pytest.approx(40 / 15 * 60 * math.exp(-55 / 15), rel=0.02)

    def test_gain_and_scatter_add_in_quadrature_and_an_offset_does_not_count(self) -> None:
        noise = np.random.default_rng(3).normal(0, 0.1, len(HOUR))
        table = record(ambient_c=25.0, top_c=25 + HOUR / 360 + noise)
        scatter = value(measured(table, setup(accuracies=())), "final-slope", sensor="top")
        # Independent scatter of deviation s over n points: s / sqrt(sum of (t - mean t)^2).
        hours = HOUR[HOUR >= 3000] / 3600
        spread = math.sqrt(float(np.sum((hours - hours.mean()) ** 2)))
        assert scatter.standard_uncertainty == pytest.approx(0.1 / spread, rel=0.3)
        logger = Accuracy("Logger", "temperature", reading_percent=2.0, fixed=5.0)
        both = value(measured(table, setup(accuracies=(logger,))), "final-slope", sensor="top")
        assert both.standard_uncertainty == pytest.approx(
            math.hypot(scatter.standard_uncertainty, 0.02 * both.value / math.sqrt(3))
        )

    @pytest.mark.parametrize("minutes", [5.0, 9.9])
    def test_a_record_under_ten_minutes_has_none(self, minutes: float) -> None:
        time = np.linspace(0, 60 * minutes, 60)
        outcome = measured(record(time_s=time, ambient_c=25.0, top_c=40.0), setup())
        assert values_of(outcome, "final-slope", sensor="top") == []

    def test_a_sensor_that_came_off_before_the_end_has_none(self) -> None:
        readings = heating(40)
        readings[-35:] = math.nan
        outcome = measured(record(ambient_c=25.0, top_c=readings, side_c=40.0), setup())
        assert values_of(outcome, "final-slope", sensor="top") == []
        assert value(outcome, "final-slope", sensor="side").value == pytest.approx(0, abs=1e-9)


class TestNoCurve:
    @pytest.mark.parametrize(
        "readings",
        [
            np.full(len(HOUR), 25.0),
            np.full(len(HOUR), 60.0),
            25 + np.where(np.arange(len(HOUR)) % 2, 0.1, -0.1),
            25 + 1e-6 * HOUR**2,
            25 + 0.005 * HOUR,
            25 + np.random.default_rng(1).normal(0, 0.1, len(HOUR)),
            heating(40, tau_min=0.05),
        ],
        ids=[
            "at ambient",
            "settled",
            "alternating",
            "speeding up",
            "straight",
            "noise",
            "faster than the samples",
        ],
    )
    def test_a_record_without_a_curve_has_no_settled_temperature(
        self, readings: np.ndarray[tuple[int], np.dtype[np.float64]]
    ) -> None:
        outcome = measured(record(ambient_c=25.0, top_c=readings), setup())
        assert values_of(outcome, "settled-temperature", sensor="top") == []
        assert values_of(outcome, "time-constant", sensor="top") == []
        assert value(outcome, "surface-temperature").value == readings.max()

    def test_another_sensor_keeps_its_curve(self) -> None:
        outcome = measured(record(ambient_c=25.0, top_c=heating(40), plug_c=25.0), setup())
        assert value(outcome, "time-constant", sensor="top").value == pytest.approx(15)
        assert values_of(outcome, "time-constant", sensor="plug") == []

    @pytest.mark.parametrize(("records", "fitted"), [(4.9, True), (5.1, False)])
    def test_five_record_lengths_are_the_longest_time_constant(
        self, records: float, fitted: bool
    ) -> None:
        table = record(ambient_c=25.0, top_c=heating(400, tau_min=60 * records))
        found = values_of(measured(table, setup()), "time-constant", sensor="top")
        assert bool(found) is fitted


def test_a_single_reading_gives_what_it_can() -> None:
    outcome = measured(record(time_s=[0.0], ambient_c=25.0, top_c=61.0), setup())
    assert {item.metric for item in outcome.values} == {
        "surface-temperature",
        "temperature-rise",
        "thermal-headroom",
    }


def test_blank_readings_are_left_out() -> None:
    readings = heating(40)
    exact = readings.copy()
    readings[5:50] = np.nan
    outcome = measured(record(ambient_c=25.0, top_c=readings), setup())
    assert value(outcome, "time-constant", sensor="top").value == pytest.approx(15)
    assert value(outcome, "surface-temperature").value == exact.max()


@settings(max_examples=50, deadline=None)
@given(
    tops=st.lists(st.floats(26, 120), min_size=1, max_size=4),
    materials=st.lists(st.sampled_from(["metal", "glass", "plastic", "wood"]), min_size=4),
)
def test_headroom_is_the_least_of_limit_minus_highest(
    tops: list[float], materials: list[str]
) -> None:
    limits = {"metal": 60, "glass": 71, "plastic": 77, "wood": 107}
    columns = {f"s{index}_c": [25.0, top, 25.5] for index, top in enumerate(tops)}
    stated = {f"s{index}": materials[index] for index in range(len(tops))}
    table = record(time_s=[0, 600, 3600], ambient_c=25.0, **columns)
    outcome = measured(table, setup(materials=stated))
    expected = min(limits[materials[index]] - top for index, top in enumerate(tops))
    assert value(outcome, "thermal-headroom").value == pytest.approx(expected)
    assert value(outcome, "surface-temperature").value == max(tops)


@settings(max_examples=30, deadline=None)
@given(shift=st.floats(-1.9, 1.9), rise=st.floats(5, 60), tau=st.floats(4, 60))
def test_a_warmer_room_shifts_temperatures_and_keeps_rise_and_time_constant(
    shift: float, rise: float, tau: float
) -> None:
    plain = measured(record(ambient_c=25.0, top_c=heating(rise, tau_min=tau)), setup())
    warm = measured(
        record(ambient_c=25 + shift, top_c=heating(rise, tau_min=tau, ambient=25 + shift)), setup()
    )
    for metric, sensor, moves in (
        ("surface-temperature", "", True),
        ("settled-temperature", "top", True),
        ("temperature-rise", "", False),
        ("time-constant", "top", False),
    ):
        before = value(plain, metric, sensor=sensor).value
        after = value(warm, metric, sensor=sensor).value
        assert after - before == pytest.approx(shift if moves else 0, abs=1e-4)
