"""The rows shown before anything is computed."""

from __future__ import annotations

import json
import math

import numpy as np

from measurements.intake.columns import Column, Table
from measurements.intake.samples import sample_of

COLUMNS = (
    Column("time_s", "Time", "s"),
    Column("*_c", "Sensor temperature", "degC"),
    Column("port", "Port", "", type="text"),
)


def test_ends_and_extremes_each_once_in_the_order_of_the_file() -> None:
    heat = np.array([20.0, 21.0, 99.0, math.nan, 22.0, 23.0, -5.0, 24.0, 25.0])
    table = Table(
        {"time_s": np.arange(9.0), "case_top_c": heat},
        np.arange(4, 13),
        {"port": tuple("abcdefghi")},
    )
    sample = sample_of(table, COLUMNS, ends=2)
    assert (sample.names, sample.titles, sample.units) == (
        ("time_s", "case_top_c", "port"),
        ("Time", "case top", "Port"),
        ("s", "degC", ""),
    )
    assert sample.row_count == 9
    assert [(row.row, row.role, row.extremes) for row in sample.rows] == [
        (4, "first", ("time_s",)),
        (5, "first", ()),
        (6, "extreme", ("case_top_c",)),
        (10, "extreme", ("case_top_c",)),
        (11, "last", ()),
        (12, "last", ("time_s",)),
    ]
    assert sample.rows[2].cells == (2.0, 99.0, "c")


def test_blanks_are_no_numbers_and_short_tables_are_shown_once() -> None:
    table = Table(
        {"time_s": np.arange(2.0), "top_c": np.full(2, math.nan)},
        np.array([2, 3]),
        {"port": ("a", "b")},
    )
    sample = sample_of(table, COLUMNS)
    assert [row.cells for row in sample.rows] == [(0.0, None, "a"), (1.0, None, "b")]
    json.dumps(sample.as_json(), allow_nan=False)
