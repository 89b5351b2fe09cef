"""Headings are taken apart and matched, and never guessed."""

from __future__ import annotations

import pytest

from measurements.intake.columns import Column
from measurements.intake.headings import parse_heading, with_unit
from measurements.intake.matches import Matching
from measurements.intake.matching import match_headings

TIME = Column("time_s", "Time", "s", required=False, aliases=("time", "zeit", "t"))
POWER = Column("input_power_w", "Input power", "W", aliases=("power", "p in"))
VOLTAGE = Column("output_voltage_v", "Output voltage", "V", aliases=("voltage", "vbus", "v out"))
NOMINAL = Column("output_nominal_v", "Nominal output voltage", "V", aliases=("voltage",))
FACTOR = Column("power_factor", "Power factor", "", required=False, aliases=("pf",))
AMBIENT = Column("ambient_c", "Ambient temperature", "degC", required=False, aliases=("ambient",))
SENSORS = Column("*_c", "Sensor temperature", "degC")


def match(*headings: str, columns: tuple[Column, ...]) -> Matching:
    return match_headings([parse_heading(text) for text in headings], columns)


def names(matching: Matching) -> dict[int, tuple[str, str | None]]:
    return {item.index: (item.name, item.unit) for item in matching.matches}


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [
        ("Power [mW]", "Power", "mW"),
        ("Zeit (min)", "Zeit", "min"),
        ("Vbus/V", "Vbus", "V"),
        ("V_out [mV]", "V_out", "mV"),
        ("input_power_w", "input_power", "W"),
        ("input_power_mw", "input_power", "mW"),
        ("Input power, W", "Input power", "W"),
        ("time_s", "time", "s"),
        ("time_min", "time", "min"),
        ("top_c", "top", "degC"),
        ("Temp_C", "Temp", "degC"),
        ("Ambient °C", "Ambient", "degC"),
        ("Ambient [C]", "Ambient", "degC"),
        ("Voltage (port 1) [V]", "Voltage (port 1)", "V"),
        ("Power [mW] mean", "Power mean", "mW"),
        ("\ufefftime_s\u200b", "time", "s"),
        ("Load %", "Load", "%"),
        ("°C", "", "degC"),
        ("power_factor", "power_factor", None),
        ("Voltage (1)", "Voltage (1)", None),
        ("Power (in)", "Power (in)", None),
        ("Port A", "Port A", None),
        ("port_a", "port_a", None),
        ("Power min", "Power min", None),
        ("power_min", "power_min", None),
        ("V_out", "V_out", None),
        ("", "", None),
    ],
)
def test_a_heading_is_a_name_and_a_unit(text: str, name: str, unit: str | None) -> None:
    heading = parse_heading(text)
    assert (heading.name, heading.unit) == (name, unit)


def test_square_brackets_always_hold_a_unit_even_an_unknown_one() -> None:
    heading = parse_heading("Power [dBm]")
    assert (heading.name, heading.unit, heading.unit_text) == ("Power", None, "dBm")


def test_a_heading_without_unit_takes_it_from_the_row_of_units() -> None:
    assert with_unit(parse_heading("Power"), "[mW]").unit == "mW"
    assert with_unit(parse_heading("Power [W]"), "mW").unit == "W"


def test_canonical_names_and_other_names_are_matched() -> None:
    found = match("time_s", "P in (mW)", "PF", columns=(TIME, POWER, FACTOR))
    assert names(found) == {0: ("time_s", "s"), 1: ("input_power_w", "mW"), 2: ("power_factor", "")}
    assert found.problems == ()
    assert "‘P in (mW)’ read as input power, mW → W." in [item.note for item in found.matches]


def test_a_unit_alone_decides_only_when_nothing_else_has_it() -> None:
    found = match("Dauer [min]", "Leistung [mW]", columns=(TIME, POWER))
    assert names(found) == {0: ("time_s", "min"), 1: ("input_power_w", "mW")}
    assert found.matches[1].note.endswith("(by its unit alone).")

    two_headings = match("Leistung [mW]", "Verlust [W]", columns=(POWER,))
    assert names(two_headings) == {}
    two_columns = match("Spannung [V]", columns=(VOLTAGE, NOMINAL))
    assert names(two_columns) == {}
    opposite = match("Output power [W]", columns=(POWER,))
    assert names(opposite) == {}
    apparent = match("S [VA]", columns=(POWER,))
    assert names(apparent) == {}


def test_two_headings_for_one_column_are_a_problem_unless_one_is_canonical() -> None:
    found = match("Power [W]", "P in [mW]", columns=(POWER,))
    assert [problem.column for problem in found.problems] == ["Power [W]"]
    assert "could each be input power" in found.problems[0].detail

    settled = match("input_power_w", "P in [mW]", columns=(POWER,))
    assert names(settled) == {0: ("input_power_w", "W")}
    assert settled.problems == ()
    assert settled.notes == ("Not used by this kind of run and left unread: ‘P in [mW]’.",)


def test_one_heading_for_two_columns_is_a_problem() -> None:
    found = match("Voltage [V]", columns=(VOLTAGE, NOMINAL))
    assert len(found.problems) == 2
    assert all("could be" in problem.detail for problem in found.problems)


@pytest.mark.parametrize(
    ("heading", "said"),
    [
        ("Power [mV]", "mV is not a unit of input power"),
        ("Power [dBm]", "‘dBm’ in ‘Power [dBm]’ is not a unit known here"),
        ("Power", "‘Power’ names no unit"),
    ],
)
def test_a_unit_that_does_not_fit_is_a_problem_that_says_what_to_write(
    heading: str, said: str
) -> None:
    found = match(heading, columns=(POWER,))
    assert len(found.problems) == 1
    assert found.problems[0].column == heading
    assert said in found.problems[0].detail
    assert "‘input_power_w’" in found.problems[0].detail


def test_what_is_missing_is_named_together_with_what_was_found() -> None:
    found = match("time_s", "Note", columns=(TIME, POWER))
    assert len(found.problems) == 1
    for word in ("input power", "‘time_s’", "‘Note’", "‘input_power_w’"):
        assert word in found.problems[0].detail


def test_duplicate_headings_are_a_problem() -> None:
    found = match("time_s", "Time_S ", "input_power_w", columns=(TIME, POWER))
    assert [problem.column for problem in found.problems] == ["time_s"]
    assert "over 2 columns" in found.problems[0].detail


def test_every_other_temperature_is_a_sensor() -> None:
    found = match(
        "time_s", "Ambient °C", "top_c", "Case T [°F]", "PF", columns=(TIME, AMBIENT, SENSORS)
    )
    assert names(found) == {
        0: ("time_s", "s"),
        1: ("ambient_c", "degC"),
        2: ("top_c", "degC"),
        3: ("case_t_c", "degF"),
    }
    assert found.problems == ()


def test_a_family_that_is_needed_wants_one_sensor_and_no_two_of_a_name() -> None:
    without = match("time_s", "ambient_c", columns=(TIME, AMBIENT, SENSORS))
    assert "No column for sensor temperature" in without.problems[0].detail
    twice = match("Top [°C]", "top_c", columns=(SENSORS,))
    assert "second column named ‘top_c’" in twice.problems[0].detail


def test_invisible_and_bidirectional_signs_neither_hide_a_name_nor_reach_a_message() -> None:
    found = match("input_\u200bpower_w", "no\u202ete", columns=(POWER,))
    assert names(found) == {0: ("input_power_w", "W")}
    assert found.notes == ("Not used by this kind of run and left unread: ‘no\\u202ete’.",)


def test_a_very_long_heading_is_read_in_no_time_and_is_no_unit() -> None:
    heading = parse_heading("x" + " " * 200_000 + ", W")
    assert heading.unit is None
