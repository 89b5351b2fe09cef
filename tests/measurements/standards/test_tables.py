from __future__ import annotations

import itertools
import math

import pytest

from measurements.metrics.limits import SCHEMES
from measurements.standards import iec_62368_1_2018 as touch
from measurements.standards import us_doe_appendix_z_2022 as appendix_z
from measurements.standards import usb_pd_output_tolerance as usb_output
from measurements.standards.rows import Scheme, TouchLimit
from measurements.standards.sources import SOURCES

EVERY_SCHEME = pytest.mark.parametrize("scheme", SCHEMES, ids=lambda scheme: scheme.key)


@EVERY_SCHEME
def test_the_rows_of_a_quantity_cover_the_schemes_powers_without_gap_or_overlap(
    scheme: Scheme,
) -> None:
    cells = {(row.quantity, row.supply) for row in scheme.rows}
    for quantity, supply in cells:
        ranges = sorted(
            (row.above_w, row.up_to_w)
            for row in scheme.rows
            if (row.quantity, row.supply) == (quantity, supply)
        )
        assert ranges[0][0] == 0
        assert ranges[-1][1] == scheme.highest_power_w
        assert all(first[1] == second[0] for first, second in itertools.pairwise(ranges))


@EVERY_SCHEME
def test_a_scheme_and_its_method_name_a_source_of_the_bibliography(scheme: Scheme) -> None:
    assert scheme.source in SOURCES
    assert scheme.method.source in SOURCES
    assert not scheme.adaptive_method or scheme.adaptive_method in SOURCES


@pytest.mark.parametrize("table", [touch.TS1, touch.TS2], ids=["TS1", "TS2"])
def test_a_touch_table_is_complete(table: tuple[TouchLimit, ...]) -> None:
    materials = ("metal", "glass", "plastic", "wood")
    contacts = (touch.HELD, touch.HELD_BRIEFLY, touch.TOUCHED, touch.NOT_TOUCHED)
    assert [(cell.contact, cell.material) for cell in table] == list(
        itertools.product(contacts, materials)
    )


@pytest.mark.parametrize("table", [touch.TS1, touch.TS2], ids=["TS1", "TS2"])
def test_a_shorter_contact_or_a_slower_conductor_never_lowers_a_touch_limit(
    table: tuple[TouchLimit, ...],
) -> None:
    # Burn thresholds rise with shorter contact, and from metal to wood: IEC Guide 117.
    grid = [[cell.temperature_c for cell in table[start : start + 4]] for start in (0, 4, 8, 12)]
    for row in grid:
        assert row == sorted(row)
    for longer, shorter in itertools.pairwise(grid):
        assert all(a < b for a, b in zip(longer, shorter, strict=True))


def test_the_touch_values_that_were_seen_are_marked_so() -> None:
    seen = [
        (cell.material, cell.temperature_c) for cell in touch.TS1 if cell.standing == "secondary"
    ]
    assert seen == [("plastic", 48), ("plastic", 77), ("plastic", 94)]


def test_ts2_lies_ten_kelvin_above_ts1_at_every_contact() -> None:
    # How the edition builds the table, from memory; 8 h contact is not in it.
    for lower, upper in zip(touch.TS1, touch.TS2, strict=True):
        assert upper.temperature_c - lower.temperature_c == 10


def test_the_steps_at_the_lowest_voltage_are_quarters_of_2_a() -> None:
    # 10 CFR 430 Subpart B Appendix Z, loading conditions 1 to 4: 2, 1.5, 1 and 0.5 A.
    assert [100 * step / 2.0 for step in appendix_z.USB_STEPS_A] == [100, 75, 50, 25]
    assert appendix_z.SOURCE in SOURCES


def test_the_output_tolerance_says_where_its_number_is_from() -> None:
    assert usb_output.SOURCE in SOURCES
    assert usb_output.STANDING == "from memory"
    assert "Common practice" in usb_output.NOTE


def test_every_limit_is_a_finite_number_in_the_unit_of_its_table() -> None:
    for scheme in SCHEMES:
        for row in scheme.rows:
            assert math.isfinite(row.curve.constant)
            assert 0 <= row.curve.constant < 1
