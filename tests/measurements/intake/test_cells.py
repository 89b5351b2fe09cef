"""Numbers and clock stamps in cells."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.intake.cells import (
    ClockColumn,
    NumberStyle,
    StyleEvidence,
    complaint,
    parse_number,
    parse_numbers,
)

POINT, COMMA = NumberStyle("."), NumberStyle(",")


def style_of(*cells: str, semicolons: bool = False) -> NumberStyle:
    evidence = StyleEvidence()
    evidence.add(cells)
    return evidence.style(semicolons=semicolons)


def seconds(*cells: str) -> list[float]:
    column = ClockColumn()
    for cell in cells:  # one portion a cell: portions must not matter
        column.add([cell])
    return [float(value) for value in column.finish().values]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_float_as_the_language_writes_it_is_read_back(number: float) -> None:
    assert parse_number(repr(number), POINT) == number
    assert parse_number(repr(number).replace(".", ","), COMMA) == number


@pytest.mark.parametrize(
    "cell",
    [
        *("", " ", "1/2", "n/a", "NaN", "inf", "True", "=1+1", "1.5W"),
        *("1_000", "0x10", "1 2", "1,5", "1e", ".", "+", "1.2.3", "1d3"),
        *("１", "١٢", "−1", "1\u00a0"),
    ],
)
def test_what_is_no_plain_number_is_not_read(cell: str) -> None:
    assert parse_number(cell, POINT) is None


@pytest.mark.parametrize(
    ("cells", "decimal", "grouped"),
    [
        (("1.5", "2"), ".", False),
        (("1,5", "2"), ",", False),
        (("1.234,5", "1.234"), ",", True),
        (("1,234.5", "1,234"), ".", True),
        (("1.234.567", "0,5"), ",", True),
        (("0,125",), ",", False),
        (("1.234",), ".", False),
        (("12", "13"), ".", False),
    ],
)
def test_the_whole_file_settles_the_decimal_mark(
    cells: tuple[str, ...], decimal: str, grouped: bool
) -> None:
    style = style_of(*cells)
    assert (style.decimal, style.grouped) == (decimal, grouped)
    assert all(parse_number(cell, style) is not None for cell in cells)


def test_three_digits_after_a_comma_are_never_guessed() -> None:
    assert parse_number("1,234", style_of("1,234")) is None
    assert parse_number("1,234", style_of("1,234", "0.5")) is None
    assert parse_number("1.234", style_of("1.234", "0,5")) is None
    # Common practice: columns are separated by semicolons where the decimal mark is a comma.
    assert parse_number("1,234", style_of("1,234", semicolons=True)) == 1.234
    assert parse_number("1.234", style_of("1,234", "1.234", semicolons=True)) == 1.234
    assert parse_number("1,234", style_of("1,234", "1.234", semicolons=True)) is None


def test_thousands_are_read_in_groups_of_three_only() -> None:
    style = NumberStyle(",", grouped=True)
    assert parse_number("-12.345.678,25", style) == -12345678.25
    assert parse_number("1.23,5", style) is None
    assert parse_number("0.123,5", style) is None


def test_blank_cells_are_missing_and_bad_ones_are_named() -> None:
    parsed = parse_numbers(["1.5", " ", "x", "2"], POINT)
    np.testing.assert_array_equal(parsed.values, [1.5, np.nan, np.nan, 2.0])
    assert parsed.bad.tolist() == [2]


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("", "blank"),
        ("1e999", "too large"),
        ("-Infinity", "overrange"),
        ("n/a", "missing value"),
        ("#N/A", "missing value"),
        ("--", "missing value"),
        ("٣", "digits 0 to 9"),
        ("12:00:01", "clock stamp"),
        ("1,234", "1.234 or 1234"),
        ("1,5", "decimal mark ‘.’"),
        ("1/2", "not a number"),
    ],
)
def test_every_kind_of_bad_cell_has_its_own_advice(cell: str, said: str) -> None:
    words = complaint(cell, title="input power", style=POINT)
    assert said in words
    assert words.endswith(".")


def test_date_stamps_count_from_the_first_as_rfc_3339_has_them() -> None:
    # RFC 3339, section 5.8: these two examples are the same moment in different zones.
    assert seconds("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z") == [0.0, 0.0]
    # The first example of that section, and a second before it.
    assert seconds("1985-04-12T23:20:49.52Z", "1985-04-12T23:20:50.52Z") == [0.0, 1.0]


def test_fractions_keep_their_digits_beside_a_date() -> None:
    first, later = seconds("2026-01-31 14:05:00.000001", "2026-01-31 14:05:00.000002")
    assert first == 0.0
    assert later == pytest.approx(1e-6, rel=1e-9)


def test_a_time_of_day_goes_on_over_midnight_and_a_duration_beyond_a_day() -> None:
    assert seconds("23:59:58", "23:59:59,5", "00:00:01") == [0.0, 1.5, 3.0]
    assert seconds("23:00:00", "24:30:00", "49:00:00") == [0.0, 5400.0, 93600.0]


def test_a_small_step_back_is_left_for_the_check_of_the_kind() -> None:
    assert seconds("12:00:10", "12:00:05") == [0.0, -5.0]


@pytest.mark.parametrize(
    "cells",
    [
        ("2026-01-31T14:05:00", "2026-01-31T14:05:01Z"),
        ("14:05:00", "2026-01-31T14:05:01"),
        ("2026-01-31T14:05:00", "2026-02-30T14:05:00"),
        ("14:05:00", "14:61:00"),
        ("14:05:00", "12.5"),
    ],
)
def test_a_stamp_unlike_the_first_is_bad(cells: tuple[str, str]) -> None:
    column = ClockColumn()
    column.add(cells)
    assert column.finish().bad.tolist() == [1]
