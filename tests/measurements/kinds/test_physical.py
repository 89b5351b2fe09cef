from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.kinds.physical import METRICS, physical_values

sizes = st.floats(5, 300)


def test_140_w_in_69_by_73_by_31_5_mm_weighing_280_g() -> None:
    density, specific = physical_values(
        rated_power_w=140, length_mm=69, width_mm=73, height_mm=31.5, mass_g=280
    )
    # Common practice, quoted to 0.01 W/cm³; the uncertainty by hand: 0.5 mm over √3 on each side.
    assert density.value == pytest.approx(0.88, abs=0.005)
    relative = 0.5 / math.sqrt(3) * math.hypot(1 / 69, 1 / 73, 1 / 31.5)
    assert density.standard_uncertainty == pytest.approx(density.value * relative)
    assert specific.value == 0.5
    assert specific.standard_uncertainty == pytest.approx(0.5 * 0.5 / math.sqrt(3) / 280)
    assert density.condition.as_json() == {}


def test_what_the_entry_lacks_is_left_out() -> None:
    assert physical_values(rated_power_w=65) == ()
    assert physical_values(rated_power_w=65, length_mm=50, width_mm=50) == ()
    (specific,) = physical_values(rated_power_w=65, length_mm=50, mass_g=100)
    assert specific.metric == "specific-power"


def test_every_physical_metric_is_declared() -> None:
    values = physical_values(rated_power_w=65, length_mm=5, width_mm=5, height_mm=5, mass_g=1)
    assert [value.metric for value in values] == [metric.key for metric in METRICS]


def test_a_body_without_size_is_refused() -> None:
    with pytest.raises(ValueError, match="more than 0 mm"):
        physical_values(rated_power_w=65, length_mm=0, width_mm=5, height_mm=5)


@given(st.floats(1, 240), sizes, sizes, sizes, sizes)
def test_twice_the_power_is_twice_the_density(
    power: float, length: float, width: float, height: float, mass: float
) -> None:
    once, twice = (
        physical_values(
            rated_power_w=factor * power,
            length_mm=length,
            width_mm=width,
            height_mm=height,
            mass_g=mass,
        )
        for factor in (1, 2)
    )
    for single, double in zip(once, twice, strict=True):
        assert double.value == pytest.approx(2 * single.value)
        assert double.standard_uncertainty == pytest.approx(2 * single.standard_uncertainty)
