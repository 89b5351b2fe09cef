from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics.limits import (
    SCHEMES,
    Limit,
    adaptive_loading_of,
    limits_for,
    method_of,
    output_tolerance,
    touch_limit,
)
from measurements.standards.iec_62368_1_2018 import HELD, NOT_TOUCHED


def limit_of(scheme: str, quantity: str, limits: tuple[Limit, ...]) -> Limit:
    (found,) = (item for item in limits if (item.scheme, item.quantity) == (scheme, quantity))
    return found


@pytest.mark.parametrize(
    ("volts", "amperes", "row"),
    [
        (5.0, 3.0, "low"),
        (5.99, 0.55, "low"),
        (6.0, 3.0, "basic"),
        (5.0, 0.549, "basic"),
        (None, 3.0, "basic"),
        (5.0, None, "basic"),
    ],
)
def test_low_voltage_means_below_6_v_and_from_550_ma(
    volts: float | None, amperes: float | None, row: str
) -> None:
    found = limits_for(15, output_v=volts, output_a=amperes, supply="single")
    assert {limit.row for limit in found if limit.scheme != "usb-pd-output"} == {row}


def test_a_multiple_voltage_supply_has_its_own_row_whatever_its_voltage() -> None:
    found = limits_for(15, output_v=5, output_a=3, supply="multiple")
    assert [(limit.scheme, limit.row) for limit in found] == [
        *[("level-vi", "multiple")] * 2,
        *[("eu-2019-1782", "multiple")] * 2,
        ("usb-pd-output", "fixed"),
    ]


def test_above_250_w_only_level_vi_has_limits() -> None:
    found = limits_for(280)
    assert {limit.scheme for limit in found} == {"level-vi"}
    assert limit_of("level-vi", "no-load-power", found).value == 0.5
    assert limit_of("level-vi", "average-efficiency", found).value == 87.5
    assert {limit.scheme for limit in limits_for(250)} == {scheme.key for scheme in SCHEMES}


def test_the_code_of_conduct_begins_at_0_3_w() -> None:
    below = {limit.scheme for limit in limits_for(0.299)}
    assert below == {"level-vi", "eu-2019-1782"}
    assert len({limit.scheme for limit in limits_for(0.3)}) == 4


def test_a_small_adaptive_supply_is_held_to_0_21_w_by_the_eu_regulation() -> None:
    # European Commission, published answers on external power supplies: adaptive supplies.
    adaptive = limit_of("eu-2019-1782", "no-load-power", limits_for(30, supply="adaptive"))
    assert adaptive.value == 0.21
    assert "0.21 W" in adaptive.note
    single = limit_of("eu-2019-1782", "no-load-power", limits_for(30, supply="single"))
    assert (single.value, single.note) == (0.10, "")


def test_of_an_unknown_kind_of_supply_the_table_is_given_and_the_other_limit_named() -> None:
    limit = limit_of("eu-2019-1782", "no-load-power", limits_for(30))
    assert limit.value == 0.10
    assert "0.21 W" in limit.note


def test_a_handheld_devices_small_supply_is_mentioned_at_tier_1_only() -> None:
    small = limit_of("coc-v5-tier-1", "no-load-power", limits_for(7.5))
    assert (small.value, "0.075 W" in small.note) == (0.150, True)
    assert limit_of("coc-v5-tier-1", "no-load-power", limits_for(20)).note == ""


@pytest.mark.parametrize("power", [0, -5, math.nan, math.inf])
def test_a_rating_that_is_no_positive_number_is_refused(power: float) -> None:
    with pytest.raises(ValueError, match="positive number of watts"):
        limits_for(power)


def test_each_scheme_limits_no_load_and_average_and_the_code_of_conduct_also_10_percent() -> None:
    found = [(limit.scheme, limit.quantity) for limit in limits_for(65)]
    assert len(found) == len(set(found))
    for scheme in SCHEMES:
        quantities = {quantity for key, quantity in found if key == scheme.key}
        wanted = {"no-load-power", "average-efficiency"}
        if scheme.key.startswith("coc"):
            wanted.add("efficiency-at-10")
        assert quantities == wanted


@given(st.floats(1.0, 250.0), st.sampled_from(["single", "adaptive"]), st.booleans())
def test_every_limit_is_a_possible_efficiency_or_a_small_power(
    power: float, supply: str, low: bool
) -> None:
    volts = 5.0 if low else 20.0
    for limit in limits_for(power, output_v=volts, output_a=3.0, supply=supply):
        if limit.quantity == "output-deviation":
            assert limit == output_tolerance()
        elif limit.unit == "%":
            assert 30 < limit.value < 90
            assert limit.sense == "at least"
        else:
            assert 0 < limit.value <= 0.25
            assert limit.sense == "at most"


@given(st.floats(0.3, 250.0), st.floats(0.3, 250.0))
def test_a_larger_supply_never_has_a_lower_tier_2_efficiency_limit(one: float, two: float) -> None:
    smaller, larger = sorted((one, two))
    for quantity in ("average-efficiency", "efficiency-at-10"):
        first, second = (
            limit_of("coc-v5-tier-2", quantity, limits_for(power)).value
            for power in (smaller, larger)
        )
        # The published curves miss each other by up to 0.05 % at the ends of the ranges.
        assert first <= second + 0.11


def test_the_default_touch_limits_are_those_of_a_short_touch() -> None:
    # IEC 62368-1:2018, Table 38, TS1, 1 s to 10 s; plastic seen, the others from memory.
    limits = {name: touch_limit(name) for name in ("metal", "glass", "plastic", "wood")}
    assert {name: limit.value for name, limit in limits.items()} == {
        "metal": 60,
        "glass": 71,
        "plastic": 77,
        "wood": 107,
    }
    assert limits["plastic"].standing == "secondary"
    assert limits["metal"].standing == "from memory"
    assert limits["wood"].sense == "at most"


def test_another_contact_or_energy_class_is_another_limit() -> None:
    assert touch_limit("plastic", contact=HELD).value == 48
    assert touch_limit("plastic", contact=NOT_TOUCHED).value == 94
    assert touch_limit("plastic", energy_class="TS2").value == 87


def test_an_unknown_material_has_no_touch_limit() -> None:
    with pytest.raises(KeyError, match="rubberised"):
        touch_limit("rubberised")


def test_the_united_states_measure_at_115_v_and_europe_at_230_v() -> None:
    assert (method_of("level-vi").mains_v, method_of("level-vi").mains_hz) == (115, 60)
    for scheme in ("eu-2019-1782", "coc-v5-tier-1", "coc-v5-tier-2"):
        assert (method_of(scheme).mains_v, method_of(scheme).mains_hz) == (230, 50)
    with pytest.raises(KeyError):
        method_of("iec-62368-1")


def test_an_output_may_be_off_by_5_per_cent_as_is_common_practice() -> None:
    # 0.95 to 1.05 of a fixed voltage at the receptacle: common practice, from memory.
    limit = output_tolerance()
    assert (limit.quantity, limit.sense, limit.value, limit.unit) == (
        "output-deviation",
        "at most",
        5.0,
        "%",
    )
    assert (limit.source, limit.standing) == ("common-practice", "from memory")
    assert limit in limits_for(100, output_v=20)
    assert limit not in limits_for(100)


def test_the_legal_schemes_have_a_way_to_load_an_adaptive_supply() -> None:
    # Appendix Z is Level VI's own method; the Commission's answers accept it for the EU's.
    for scheme in ("level-vi", "eu-2019-1782"):
        assert adaptive_loading_of(scheme) == "us-doe-appendix-z"
    for scheme in ("coc-v5-tier-1", "coc-v5-tier-2", "usb-pd-output"):
        assert adaptive_loading_of(scheme) == ""
