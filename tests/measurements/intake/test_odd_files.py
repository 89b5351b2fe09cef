"""The odd files of the fixtures are read, or refused at the right place."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from measurements.intake.columns import Column, Reading
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
CHARGE = (
    Column("time_s", "Time", "s"),
    Column("voltage_v", "Voltage into the device", "V"),
    Column("current_a", "Current into the device", "A"),
    Column("battery_percent", "Battery level", "%", required=False, minimum=0, maximum=100),
)
WAVEFORM = (
    Column("ripple_mv_pp", "Ripple, peak to peak", "mVpp", required=False),
    Column("time_s", "Time", "s", required=False, aliases=("time",)),
    Column("voltage_v", "Sampled output voltage", "V", required=False, aliases=("voltage",)),
)
# Number of the file: what it is read for, where that is no log of standby power.
COLUMNS = {"02": THERMAL, "34": CHARGE, **dict.fromkeys(("46", "47", "48", "49"), WAVEFORM)}
COLUMNS |= dict.fromkeys(("50", "51", "52"), WAVEFORM)
# Number of the file: its columns in canonical units.
READ: dict[str, dict[str, list[float]]] = {
    "01": {"time_s": [0.0, 300.0, 600.0], "input_power_w": [1.0745, 0.98225, 0.075]},
    "02": {"time_s": [0.0, 60.0], "top_c": [24.5, 31.2], "ambient_c": [25.0, 25.1]},
    "03": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.074]},
    "04": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.074]},
    "05": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.0745]},
    "06": {"time_s": [0.0], "input_power_w": [0.075]},
    "19": {"time_s": [0.0, 1.0, 3.0], "input_power_w": [0.075, 0.0745, 0.0755]},
    "20": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.074]},
    "21": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.074]},
    "23": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.074]},
    "24": {"time_s": [0.0, 30.0], "input_power_w": [0.0755, 0.0745]},
    "29": {"time_s": [0.0, 1.0], "input_power_w": [1.2345, 0.9875]},
    "30": {"time_s": [0.0, 60.0], "input_power_w": [0.0755, 0.0745]},
    "31": {"time_s": [0.0, 1.0, 2.0], "input_power_w": [0.075, 0.5, 0.074]},
    "34": {
        "time_s": [0.0, 60.0, 120.0],
        "voltage_v": [9.0, 9.1, 9.1],
        "current_a": [2.0, 1.9, 1.8],
        "battery_percent": [7.0, 8.5, 10.0],
    },
    "35": {"time_s": [0.0, 1.0], "input_power_w": [0.075, 0.074]},
    "38": {"time_s": [0.0, 30.0], "input_power_w": [0.0755, 0.0745]},
    "40": {"time_s": [0.0, 60.0], "input_power_w": [0.0755, 0.0745]},
    "43": {"time_s": [0.0, 1.5, math.nan], "input_power_w": [0.075, 0.074, 0.073]},
    "45": {"time_s": [0.0, 0.5], "input_power_w": [0.0755, 0.0745]},
    "46": {"time_s": [0.0, 5e-7, 1e-6], "voltage_v": [20.0, 20.5, 19.5]},
    "49": {"time_s": [0.0, 1e-6, 2e-6], "voltage_v": [20.0, 20.5, 19.5]},
}
FLOAT32 = {"40", "45"}  # stored with seven digits
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
    "22": ([(1, "Power [W]")], "another unit than the row of units"),
    "25": ([(3, "input_power_w")], "‘−0.002’ is not a number"),
    "26": ([(3, "time")], "with or without zone alike"),
    "27": ([(1, "Power [VA]")], "VA is not a unit of input power"),
    "28": ([(3, "input_power_w"), (4, "input_power_w")], "stands for a missing value"),
    "32": ([(None, None)], "2 worksheets have the headings of this kind of run"),
    "33": ([(None, None)], "a formula in A3 that was never computed"),
    "36": ([(None, None)], "merged cells at B2:B3"),
    "37": ([(3, "input_power_w")], "‘0,074’ is not written like the other numbers"),
    "39": ([(None, None)], "document type declaration"),
    "41": ([(None, "input_power_w")], "stored as list"),
    "42": ([(None, None)], "lacks its end"),
    "44": ([(None, "input_power_w")], "stored as bool"),
    "47": ([(None, "voltage_v")], "pickled Python objects, which are never opened"),
    "48": ([(None, None)], "‘time_s’ 3, ‘voltage_v’ 2"),
    "50": ([(None, None)], "promises 16,000,000,000 bytes of values but holds 32"),
    "51": ([(None, None)], "holds ‘voltage_v.npy’ twice"),
    "52": ([(None, None)], "a path to another folder"),
    "54": ([(None, None)], "The Parquet file is damaged"),
    "53": ([(None, None)], "neither a workbook nor NumPy arrays"),
}


def read(number: str) -> Reading:
    path = next(FOLDER.glob(f"{number}-*"))
    return read_table(path, COLUMNS.get(number, NO_LOAD), file_name=path.name)


def test_something_is_expected_of_every_odd_file() -> None:
    found = [path.name[:2] for path in FOLDER.iterdir() if path.name != "README.md"]
    assert sorted(found) == sorted([*READ, *REFUSED])


@pytest.mark.parametrize("number", READ)
def test_an_odd_file_is_read(number: str) -> None:
    reading = read(number)
    assert reading.problems == ()
    assert reading.table is not None
    assert reading.table.columns.keys() == READ[number].keys()
    for name, expected in READ[number].items():
        assert reading.table[name].tolist() == pytest.approx(
            expected, rel=1e-7 if number in FLOAT32 else 1e-12, nan_ok=True
        )


@pytest.mark.parametrize("number", REFUSED)
def test_an_odd_file_is_refused_at_its_oddity(number: str) -> None:
    reading = read(number)
    places, words = REFUSED[number]
    assert reading.table is None
    assert [(problem.row, problem.column) for problem in reading.problems] == places
    assert words in reading.problems[0].detail
