"""The choice of columns on the page, as a column map."""

from __future__ import annotations

from typing import Any

import pytest

from measurements.intake.column_maps import Assigned
from measurements.kinds import get_kind
from measurements.reception.choices import choice_from, heading_rows

STANDBY = get_kind("no-load")
SOAK = get_kind("thermal")


def seen(text: str, **more: Any) -> dict[str, Any]:
    plain = {"unit_text": "", "unit": "", "column": "", "read_unit": None, "by": ""}
    return {"text": text, **plain, "could_be": [], "example": "1", **more}


def evidence(*headings: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"headings": list(headings), "sheets": [], "sheet": "", **more}


TIME = seen("time_s", unit="s", column="time_s", read_unit="s", by="name")
UNKNOWN = seen("Aufnahme (mW)", unit="mW")


def test_a_guess_that_is_left_as_it_is_makes_no_map() -> None:
    found = evidence(TIME, UNKNOWN)
    data = {"column-0": "time_s", "unit-0": "s", "column-1": "", "unit-1": "mW"}

    assert choice_from(data, evidence=found, kind=STANDBY, is_guess=True) == (None, {})
    kept, _ = choice_from(data, evidence=found, kind=STANDBY, is_guess=False)
    assert kept is not None


def test_a_choice_names_every_heading() -> None:
    data = {"column-0": "time_s", "unit-0": "s", "column-1": "input_power_w", "unit-1": "mW"}

    chosen, faults = choice_from(
        data, evidence=evidence(TIME, UNKNOWN), kind=STANDBY, is_guess=True
    )

    assert not faults
    assert chosen is not None
    assert chosen.headings == (("time_s", ""), ("Aufnahme (mW)", ""))
    assert chosen.columns == (Assigned("time_s", "s"), Assigned("input_power_w", "mW"))


@pytest.mark.parametrize(
    ("data", "index", "words"),
    [
        ({"column-1": "input_power_w", "unit-1": "V"}, 1, "V is not a unit of Input power"),
        ({"column-1": "input_power_w", "unit-1": ""}, 1, "No unit is chosen"),
        ({"column-1": "input_power_w", "unit-1": "clock"}, 1, "is no time"),
        ({"column-1": "input_power_w", "unit-1": "furlong"}, 1, "‘furlong’ is not a unit"),
        ({"column-1": "time_s", "unit-1": "s"}, 1, "‘time_s’ is read as"),
    ],
)
def test_a_choice_that_cannot_be_is_said_at_its_heading(
    data: dict[str, str], index: int, words: str
) -> None:
    _, faults = choice_from(data, evidence=evidence(TIME, UNKNOWN), kind=STANDBY, is_guess=True)

    assert words in faults[index]


def test_time_without_unit_is_clock_stamps() -> None:
    data = {"column-0": "time_s", "unit-0": "clock"}
    chosen, faults = choice_from(
        data, evidence=evidence(seen("Uhrzeit")), kind=STANDBY, is_guess=True
    )

    assert not faults
    assert chosen is not None
    assert chosen.columns == (Assigned("time_s", None),)


def test_a_sensor_is_named_by_its_heading() -> None:
    data = {"column-0": "*_c", "unit-0": "degC"}
    chosen, _ = choice_from(
        data, evidence=evidence(seen("Fühler Deckel")), kind=SOAK, is_guess=True
    )

    assert chosen is not None
    assert chosen.columns == (Assigned("fühler_deckel_c", "degC"),)


def test_a_sensor_that_was_read_keeps_its_name_and_its_family() -> None:
    top = seen("top_c", unit="degC", column="top_c", read_unit="degC", by="unit")
    rows = heading_rows(evidence(top), kind=SOAK)

    assert (rows[0].column, rows[0].unit) == ("*_c", "degC")


def test_decimal_mark_and_worksheet_are_choices_of_their_own() -> None:
    found = evidence(TIME, sheets=["Log", "Copy"], sheet="Log")
    same = {"column-0": "time_s", "unit-0": "s", "sheet": "Log"}
    assert choice_from(same, evidence=found, kind=STANDBY, is_guess=True) == (None, {})

    for more in ({"decimal": ","}, {"sheet": "Copy"}):
        chosen, _ = choice_from({**same, **more}, evidence=found, kind=STANDBY, is_guess=True)
        assert chosen is not None
        assert {"decimal": chosen.decimal, "sheet": chosen.sheet}.items() >= more.items()
