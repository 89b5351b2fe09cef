"""Serial dates of workbooks against the examples of ECMA-376.

Source: ECMA-376 (Office Open XML), 1st edition, Part 4, 3.17.4.1, “Date Representation”: the
examples for the two date bases.
"""

from __future__ import annotations

import io
from datetime import datetime

import pytest
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900

from measurements.intake.workbooks import open_workbook
from tests.factories.workbooks import saved


@pytest.mark.parametrize(
    ("base", "serial", "day"),
    [
        (CALENDAR_WINDOWS_1900, 3687, "1910-02-03"),
        (CALENDAR_WINDOWS_1900, 38749, "2006-02-01"),
        (CALENDAR_MAC_1904, 2225, "1910-02-03"),
        (CALENDAR_MAC_1904, 37287, "2006-02-01"),
    ],
)
def test_a_serial_number_is_the_day_that_the_standard_names(
    base: datetime, serial: int, day: str
) -> None:
    book = Workbook()
    book.epoch = base
    assert book.active is not None
    cell = book.active.cell(1, 1, serial + 0.75)
    cell.number_format = "yyyy-mm-dd hh:mm"
    with open_workbook(io.BytesIO(saved(book))) as read:
        assert read.rows(book.active.title) == [[f"{day}T18:00:00"]]
