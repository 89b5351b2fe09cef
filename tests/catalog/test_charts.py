"""Where profiles stand on the drawing of what a port advertises."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.charts import BOTTOM_PX, TOP_PX, UNITS, profile_chart
from catalog.power_delivery.objects import DataObject, decode_all
from catalog.power_delivery.supplies import BatterySupply, VariableSupply
from tests.catalog.power_delivery.scans import (
    SCAN_65_W,
    SCAN_140_W,
    extended,
    fixed,
    programmable,
    scan,
)

WORDS = st.lists(st.integers(min_value=0, max_value=0xFFFF_FFFF), max_size=12)


def corners(points: str) -> list[tuple[float, float]]:
    return [
        (float(across), float(down))
        for across, down in (pair.split(",") for pair in points.split())
    ]


def test_a_fixed_supply_stands_at_its_voltage_and_current() -> None:
    chart = profile_chart(scan(fixed(5, 3), fixed(20, 5)))

    assert chart is not None
    assert [tick.label for tick in chart.volts] == ["0", "5", "10", "15", "20"]
    assert [(point.at, point.label) for point in chart.points] == [(25, "5 V"), (100, "20 V")]
    assert chart.points[1].top == TOP_PX
    assert chart.points[0].top == BOTTOM_PX - 3 / 5 * (BOTTOM_PX - TOP_PX)
    assert chart.areas == ()


def test_a_programmable_supply_is_a_rectangle_under_its_current() -> None:
    chart = profile_chart(scan(programmable(20, 5, voltage_min_v=5)))

    assert chart is not None
    quarter = UNITS / 4
    assert corners(chart.areas[0].points) == [
        (quarter, BOTTOM_PX),
        (quarter, TOP_PX),
        (UNITS, TOP_PX),
        (UNITS, BOTTOM_PX),
    ]


def test_a_range_bounded_by_power_follows_the_hyperbola_beyond_the_cables_current() -> None:
    chart = profile_chart(scan(extended(30, 100)))

    assert chart is not None
    high_v = float(chart.volts[-1].label)
    edge = corners(chart.areas[0].points)[1:-1]
    assert any(across == pytest.approx(UNITS * 20 / high_v, abs=0.1) for across, _ in edge)
    for across, down in edge:
        current = 5 * (BOTTOM_PX - down) / (BOTTOM_PX - TOP_PX)
        volts = across * high_v / UNITS
        assert current == pytest.approx(min(5.0, 100 / volts), abs=0.02)


def test_every_kind_is_named_once_in_the_key() -> None:
    chart = profile_chart(SCAN_140_W)

    assert chart is not None
    assert chart.kinds == ("avs-spr", "pps", "avs-epr")
    assert len(chart.areas) == 4
    assert chart.title == "At most 140 W are advertised"


def test_labels_of_near_voltages_do_not_run_into_each_other() -> None:
    chart = profile_chart(scan(fixed(5, 3), fixed(5.05, 3), fixed(5, 2), fixed(20, 3)))

    assert chart is not None
    assert [point.label for point in chart.points] == ["5 V", "", "", "20 V"]


@pytest.mark.parametrize(
    "objects",
    [
        (),
        decode_all([0, 0xFFFF_FFFF]),
        scan(BatterySupply(voltage_min_v=20, voltage_max_v=5, power_max_w=45)),
        scan(VariableSupply(voltage_min_v=20, voltage_max_v=5, current_max_a=3)),
    ],
)
def test_what_has_no_place_is_not_drawn(objects: tuple[DataObject, ...]) -> None:
    assert profile_chart(objects) is None


def test_a_short_list_keeps_a_scale_of_at_least_five_amperes() -> None:
    chart = profile_chart(scan(fixed(5, 0.5)))

    assert chart is not None
    assert chart.amperes[-1].label == "5"
    assert profile_chart(SCAN_65_W) is not None


@given(WORDS)
def test_whatever_is_sent_stays_within_the_drawing(words: list[int]) -> None:
    chart = profile_chart(decode_all(words))
    if chart is None:
        return
    places = [corner for area in chart.areas for corner in corners(area.points)]
    assert all(0 <= across <= UNITS for across, _ in places)
    assert all(0 <= point.at <= 100 for point in chart.points)
    for down in [down for _, down in places] + [point.top for point in chart.points]:
        assert TOP_PX <= down <= BOTTOM_PX
    assert len(chart.volts) <= 8
    assert len(chart.amperes) <= 8
