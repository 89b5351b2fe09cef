"""Units of the trade against published conversions."""

from __future__ import annotations

import numpy as np
import pytest

from measurements.intake import units


def converted(value: float, from_unit: str, to_unit: str) -> float:
    return float(units.convert(np.array([value]), from_unit=from_unit, to_unit=to_unit)[0])


@pytest.mark.parametrize(
    ("value", "from_unit", "to_unit", "expected"),
    [
        # FAO, conversion tables, appendix A: 1 kilowatt-hour is 3 600 000 joules.
        (1.0, "kWh", "J", 3_600_000.0),
        # SI Brochure, 9th edition, tables 7 and 8 (from memory): prefixes, minute, hour.
        (1.0, "min", "s", 60.0),
        (1.0, "h", "s", 3600.0),
        (75.0, "mW", "W", 0.075),
        (5012.0, "mV", "V", 5.012),
        (2.5, "µA", "A", 2.5e-6),
        (1.5, "kΩ", "ohm", 1500.0),
        # SI Brochure, section 2.3.1 (from memory): 0 °C is 273.15 K.
        (300.0, "K", "degC", 26.85),
        (0.0, "degC", "K", 273.15),
        # NIST SP 811, B.8, t/°C = (t/°F - 32)/1.8; fixed points: ice, steam, the crossing.
        (32.0, "°F", "degC", 0.0),
        (212.0, "°F", "degC", 100.0),
        (-40.0, "°F", "degC", -40.0),
        (45.0, "%", "", 0.45),
        (0.45, "", "%", 45.0),
    ],
)
def test_conversions_agree_with_published_tables(
    value: float, from_unit: str, to_unit: str, expected: float
) -> None:
    assert converted(value, from_unit, to_unit) == pytest.approx(expected, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("spelling", "unit"),
    [
        *[(text, "degC") for text in ("°C", "℃", "degC", "deg C", "C", "ºC", "Cel")],
        *[(text, "uW") for text in ("µW", "μW", "uW")],
        *[(text, "ohm") for text in ("Ω", "Ω", "Ohm", "ohm")],
        *[(text, "s") for text in ("s", "sec", "seconds")],
        ("mW", "mW"),
        ("MW", "MW"),
        ("㎽", "mW"),
        ("A·h", "Ah"),
        ("%", "%"),
        ("-", ""),
        ("1", ""),
        (" mV\u200b ", "mV"),
        *[(text, "mVpp") for text in ("mVpp", "mVp-p", "mV pp", "mVpk-pk")],
        ("µVpp", "uVpp"),
    ],
)
def test_spellings_of_the_trade_are_recognised(spelling: str, unit: str) -> None:
    assert units.recognise(spelling) == unit


@pytest.mark.parametrize(
    "spelling", ["in", "m", "parsec", "mw", "Watt hour", "furlong", "2", "W/", "mVrms"]
)
def test_anything_else_is_no_unit(spelling: str) -> None:
    assert units.recognise(spelling) is None


def test_every_known_spelling_is_a_unit_of_the_library() -> None:
    for unit in set(units._spellings().values()) | set(units._SUFFIXES.values()):
        assert converted(2.0, unit, unit) == 2.0


def test_units_of_different_quantities_are_not_converted() -> None:
    with pytest.raises(units.UnitError, match="mV cannot be converted to W"):
        converted(1.0, "mV", "W")
    with pytest.raises(units.UnitError, match="‘furlong’ is not a known unit"):
        converted(1.0, "furlong", "W")


def test_apparent_power_is_not_taken_for_active_power() -> None:
    assert units.compatible("mW", "W")
    assert not units.compatible("VA", "W")


def test_missing_values_stay_missing() -> None:
    result = units.convert(np.array([1.0, np.nan]), from_unit="mW", to_unit="W")
    assert result[0] == 0.001
    assert np.isnan(result[1])


@pytest.mark.parametrize(
    ("unit", "shown"),
    [("degC", "°C"), ("uW", "µW"), ("mV*A", "mVA"), ("kohm", "kΩ"), ("", "no unit"), ("W", "W")],
)
def test_units_are_shown_the_way_people_write_them(unit: str, shown: str) -> None:
    assert units.shown(unit) == shown


@pytest.mark.parametrize("other", ["mV", "V", "mA", "W", "%"])
def test_peak_to_peak_volts_are_no_volts(other: str) -> None:
    assert not units.compatible("mVpp", other)
    assert not units.compatible(other, "mVpp")
    with pytest.raises(units.UnitError, match="cannot be converted"):
        converted(1.0, other, "mVpp")


def test_peak_to_peak_volts_convert_by_their_prefix() -> None:
    assert converted(0.04, "Vpp", "mVpp") == pytest.approx(40, rel=1e-12)
    assert converted(40_000.0, "µVpp", "mVpp") == pytest.approx(40, rel=1e-12)
