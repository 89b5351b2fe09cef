from __future__ import annotations

import pytest

from measurements.metrics.density import power_density, specific_power


def test_140_w_in_69_by_73_by_31_5_mm_is_0_88_w_per_cubic_centimetre() -> None:
    # Common practice: rated power over outer volume, 158.6655 cm³ by hand; quoted to 0.01.
    density = power_density(140, length_mm=69, width_mm=73, height_mm=31.5)
    assert density == pytest.approx(0.88, abs=0.005)


def test_specific_power_is_power_over_mass() -> None:
    assert specific_power(65, mass_g=130) == 0.5


@pytest.mark.parametrize("sides", [(0, 1, 1), (1, -1, 1), (1, 1, float("nan"))])
def test_a_body_without_volume_has_no_density(sides: tuple[float, float, float]) -> None:
    length, width, height = sides
    with pytest.raises(ValueError, match="more than 0 mm"):
        power_density(100, length_mm=length, width_mm=width, height_mm=height)


@pytest.mark.parametrize("mass", [0, -5, float("nan")])
def test_a_body_without_mass_has_no_specific_power(mass: float) -> None:
    with pytest.raises(ValueError, match="more than 0 g"):
        specific_power(100, mass_g=mass)
