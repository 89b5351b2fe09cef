"""Every one of the eighty inputs is somebody's business."""

from __future__ import annotations

from tests.measurements.hostile.file_cases import FILES
from tests.measurements.hostile.package_cases import PACKAGES
from tests.measurements.hostile.test_requests import REQUESTS
from tests.measurements.hostile.the_list import API, FILE, ITEMS, PACKAGE, REQUEST


def test_all_eighty_are_there() -> None:
    assert [item.number for item in ITEMS] == list(range(1, 81))


def test_every_item_goes_through_the_door_that_the_list_says() -> None:
    made = {
        FILE: {case.number for case in FILES},
        PACKAGE: {case.number for case in PACKAGES},
        REQUEST: {case.number for case in REQUESTS},
    }
    for door, numbers in made.items():
        assert numbers == {item.number for item in ITEMS if item.door == door}


def test_what_is_tested_elsewhere_says_why() -> None:
    assert all(bool(item.why) == (item.door == API) for item in ITEMS)
