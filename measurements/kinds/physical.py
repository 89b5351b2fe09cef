"""Metrics that follow from an adapter's catalogue entry, without a run."""

from __future__ import annotations

from measurements.kinds.base import Condition, Measured, Metric
from measurements.metrics.density import power_density, specific_power
from measurements.metrics.uncertainty import rectangular, root_sum_square

# A catalogue entry is rounded to the millimetre and the gram at best: common practice.
DIMENSION_LIMIT_MM = 0.5
MASS_LIMIT_G = 0.5

METRICS: tuple[Metric, ...] = (
    Metric(
        key="power-density",
        title="Power density",
        unit="W/cm³",
        better="higher",
        condition=(),
        definition=(
            "Rated power over the volume of the box that just holds the body, without plug pins "
            "and cord. Length, width and height count as known to ±0.5 mm each, as they are "
            "commonly rounded (common practice). Known limits: the power is that of the label, "
            "not a measured one; a rounded or tapered body fills less than its box; what is "
            "folded away or exchangeable about the plug is not told apart."
        ),
        formula="P_rated / (length · width · height)",
        source="catalogue",
        decimals=2,
    ),
    Metric(
        key="specific-power",
        title="Specific power",
        unit="W/g",
        better="higher",
        condition=(),
        definition=(
            "Rated power over the mass of the body without a detachable cord. The mass counts as "
            "known to ±0.5 g, as it is commonly rounded (common practice). Known limits: the power "
            "is that of the label, not a measured one; the mass is as the maker states it or as a "
            "scale showed it, plug pins included, and the catalogue does not tell which, nor "
            "whether an exchangeable plug was on it."
        ),
        formula="P_rated / mass",
        source="catalogue",
        decimals=3,
    ),
)


def physical_values(
    *,
    rated_power_w: float,
    length_mm: float | None = None,
    width_mm: float | None = None,
    height_mm: float | None = None,
    mass_g: float | None = None,
) -> tuple[Measured, ...]:
    """The physical metrics of an entry, leaving out those whose facts it lacks.

    Rated power [W] is a statement and carries no uncertainty; dimensions [mm] and mass [g] carry
    that of their rounding, which combines in quadrature relative to each fact. Raises `ValueError`
    for a dimension or mass that is not positive.
    """
    measured = []
    if length_mm is not None and width_mm is not None and height_mm is not None:
        density = power_density(
            rated_power_w, length_mm=length_mm, width_mm=width_mm, height_mm=height_mm
        )
        relative = root_sum_square(
            rectangular(DIMENSION_LIMIT_MM) / side for side in (length_mm, width_mm, height_mm)
        )
        measured.append(Measured("power-density", density, density * relative, Condition()))
    if mass_g is not None:
        specific = specific_power(rated_power_w, mass_g=mass_g)
        relative = rectangular(MASS_LIMIT_G) / mass_g
        measured.append(Measured("specific-power", specific, specific * relative, Condition()))
    return tuple(measured)
