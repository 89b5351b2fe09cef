"""What the objects of a port allow together."""

from __future__ import annotations

import pytest

from catalog.power_delivery.capability import (
    highest_current_a,
    highest_power_w,
    inferred_power_w,
)
from tests.catalog.power_delivery.scans import (
    SCAN_20_W,
    SCAN_65_W,
    SCAN_140_W,
    fixed,
    programmable,
    scan,
)


def test_the_power_is_inferred_from_the_fixed_supplies_alone() -> None:
    assert inferred_power_w(SCAN_20_W) == 19.98
    assert inferred_power_w(SCAN_65_W) == 65.0
    assert inferred_power_w(scan(programmable(11, 3))) == 0.0
    assert inferred_power_w(()) == 0.0


def test_a_power_limited_supply_counts_with_the_inferred_power() -> None:
    # 21 V times 3.25 A is 68.25 W, which the limit forbids.
    assert highest_power_w(SCAN_65_W) == 65.0


def test_a_supply_without_limit_counts_with_its_corner() -> None:
    assert highest_power_w(scan(fixed(5, 3), programmable(11, 3, limited=False))) == 33.0
    assert highest_power_w(SCAN_140_W) == 140.0


def test_nothing_offered_is_no_power() -> None:
    assert highest_power_w(()) == 0.0


@pytest.mark.parametrize(
    ("voltage_v", "current_a"), [(5.0, 3.25), (9.0, 3.25), (21.0, 3.25), (21.1, None), (3.0, None)]
)
def test_the_highest_current_at_a_voltage_is_that_of_any_object(
    voltage_v: float, current_a: float | None
) -> None:
    assert highest_current_a(SCAN_65_W, voltage_v=voltage_v) == current_a
