"""The odd files of the fixtures are read, or refused at the right place."""

from __future__ import annotations

from pathlib import Path

import pytest

from measurements.intake.columns import Column
from measurements.intake.tables import read_table

FOLDER = Path(__file__).parents[3] / "fixtures" / "odd_files"
NO_LOAD = (
    Column("time_s", "Time", "s", required=False, aliases=("time", "zeit")),
    Column("input_power_w", "Input power", "W", aliases=("power", "p in")),
)
THERMAL = (
    Column("time_s", "Time", "s"),
    Column("ambient_c", "Ambient temperature", "degC", required=False, aliases=("ambient",)),
    Column("*_c", "Sensor", "degC"),
)
# Number of the file: its columns in canonical units.
READ: dict[str, dict[str, list[float]]] = {
    "01": {"time_s": [0.0, 300.0, 600.0], "input_power_w": [1.0745, 0.98225, 0.075]},
    "02": {"time_s": [0.0, 60.0], "top_c": [24.5, 31.2], "ambient_c": [25.0, 25.1]},
    "03": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.074]},
    "04": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.074]},
    "05": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.0745]},
    "06": {"time_s": [0.0], "input_power_w": [0.075]},
}
# Number of the file: line and heading of every problem, and words of the first.
REFUSED: dict[str, tuple[list[tuple[int | None, str | None]], str]] = {
    "07": ([(2, "Power [mW]"), (3, "Power [mW]")], "1.234 or 1234"),
    "08": ([(2, "input_power_w"), (3, "input_power_w")], "‘1/2’ is not a number"),
    "09": ([(2, None)], "quotation mark"),
    "10": ([(1, "input_power_w")], "over 2 columns"),
    "11": ([(3, None)], "Cells in the row: 1"),
    "12": ([(3, "input_power_w")], "digits 0 to 9"),
    "13": ([(2, "input_power_w"), (3, "input_power_w")], "=HYPERLINK"),
    "14": ([(1, "Power [mV]")], "mV is not a unit of input power"),
    "15": ([(1, "Power [W]")], "could each be input power"),
    "16": ([(None, None)], "zero bytes"),
    "17": ([(None, None)], "no rows below"),
    "18": ([(3, "input_power_w"), (4, "input_power_w")], "too large"),
}


def odd_file(number: str) -> Path:
    return next(FOLDER.glob(f"{number}-*"))


def test_something_is_expected_of_every_odd_file() -> None:
    assert {path.name[:2] for path in FOLDER.glob("*.?sv")} == READ.keys() | REFUSED.keys()


@pytest.mark.parametrize("number", READ)
def test_an_odd_file_is_read(number: str) -> None:
    columns = THERMAL if number == "02" else NO_LOAD
    reading = read_table(odd_file(number), columns, file_name=odd_file(number).name)
    assert reading.problems == ()
    assert reading.table is not None
    assert reading.table.columns.keys() == READ[number].keys()
    for name, expected in READ[number].items():
        assert reading.table[name].tolist() == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("number", REFUSED)
def test_an_odd_file_is_refused_at_its_oddity(number: str) -> None:
    reading = read_table(odd_file(number), NO_LOAD, file_name=odd_file(number).name)
    places, words = REFUSED[number]
    assert reading.table is None
    assert [(problem.row, problem.column) for problem in reading.problems] == places
    assert words in reading.problems[0].detail
