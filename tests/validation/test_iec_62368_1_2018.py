"""Headroom in every row of IEC 62368-1:2018, Table 38, against what is published about it.

- Plastic at class TS1: 48 °C held, 77 °C touched for seconds, 94 °C not touched: read in a public
  discussion of the table among safety engineers (a mailing list on product safety, 2020 and 2021),
  as are judging at 25 °C ambient and not recalculating to another.
- Burn thresholds of touchable surfaces, bare metal 51 °C, ceramics and glass 56 °C, plastic and
  wood 60 °C at a contact of 1 min, and 48 °C for all of them at 10 min: read in a reproduction of
  the table of GB/T 18153-2000, a safety-of-machinery standard on touchable hot surfaces. The two
  longest rows of Table 38 are from memory and agree with it.
"""

from __future__ import annotations

from typing import Any

import pytest

from measurements.kinds.base import Outcome
from measurements.standards.iec_62368_1_2018 import HELD, HELD_BRIEFLY, NOT_TOUCHED, TOUCHED
from tests.measurements.kinds.thermal.records import measured, record, setup

READING_C = 40.0
BURN_THRESHOLDS_C = {
    HELD_BRIEFLY: {"metal": 51.0, "glass": 56.0, "plastic": 60.0, "wood": 60.0},
    HELD: {"metal": 48.0, "glass": 48.0, "plastic": 48.0, "wood": 48.0},
}


def limits_c(outcome: Outcome, *, energy_class: str) -> dict[tuple[str, str], float]:
    """Material and contact → limit, as reading and headroom of a run give it."""
    return {
        (entry["material"], entry["contact"]): READING_C + entry["headroom_k"]
        for entry in outcome.details.facts["headroom"]
        if entry["class"] == energy_class
    }


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    materials = ("metal", "glass", "plastic", "wood")
    readings: dict[str, Any] = {f"{material}_c": READING_C for material in materials}
    table = record(ambient_c=25.0, **readings)
    return measured(table, setup(materials={material: material for material in materials}))


@pytest.mark.parametrize(
    ("contact", "limit_c"), [(HELD, 48.0), (TOUCHED, 77.0), (NOT_TOUCHED, 94.0)]
)
def test_plastic_has_the_published_limits(outcome: Outcome, contact: str, limit_c: float) -> None:
    assert limits_c(outcome, energy_class="TS1")["plastic", contact] == limit_c


@pytest.mark.parametrize("contact", [HELD_BRIEFLY, HELD])
def test_the_long_contacts_agree_with_published_burn_thresholds(
    outcome: Outcome, contact: str
) -> None:
    found = limits_c(outcome, energy_class="TS1")
    for material, limit_c in BURN_THRESHOLDS_C[contact].items():
        assert found[material, contact] == limit_c


def test_a_warm_room_changes_no_limit(outcome: Outcome) -> None:
    warm = measured(record(ambient_c=45.0, plastic_c=READING_C), setup())
    found = limits_c(warm, energy_class="TS1")
    assert found["plastic", TOUCHED] == limits_c(outcome, energy_class="TS1")["plastic", TOUCHED]
