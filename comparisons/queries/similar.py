"""Adapters that are like another by what their makers state, and how they measure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, F
from django.db.models.functions import Abs

from catalog.models import Adapter, Viewer
from comparisons.queries.placements import Placement

POWER_WITHIN = 0.15
"""Part of the rated power by which a similar adapter may differ; common practice."""
SHOWN = 6


@dataclass(frozen=True, slots=True)
class Measured:
    """A similar adapter's value in one cohort, and its rank; `placement` is the other's.

    The uncertainty is None where a table did not state one.
    """

    placement: Placement
    value: float | None
    standard_uncertainty: float | None
    rank: int | None


@dataclass(frozen=True, slots=True)
class Similar:
    """A similar adapter with its values in the cohorts that were asked for, in their order."""

    adapter: Adapter
    measured: tuple[Measured, ...]


def similar(
    adapter: Adapter, *, headlines: Sequence[Placement], viewer: Viewer
) -> tuple[Similar, ...]:
    """Adapters with as many ports and about the same rated power, the nearest first. One query.

    Of the same distance, the one that was written down first. Their values come from the cohorts
    of `headlines`, which are at hand.
    """
    rated = adapter.rated_power_w
    found = (
        Adapter.objects.visible_to(viewer)
        .rated_between(rated * (1 - POWER_WITHIN), rated * (1 + POWER_WITHIN))
        .exclude(pk=adapter.pk)
        .annotate(port_total=Count("ports"), distance=Abs(F("rated_power_w") - rated))
        .filter(port_total=len(adapter.ports.all()))
        .select_related("maker")
        .order_by("distance", "pk")[:SHOWN]
    )
    return tuple(
        Similar(item, tuple(_measured(item, placement) for placement in headlines))
        for item in found
    )


def _measured(adapter: Adapter, placement: Placement) -> Measured:
    cohort = placement.cohort
    position = None if cohort is None else cohort.position_of(adapter.pk)
    if cohort is None or position is None:
        return Measured(placement, None, None, None)
    uncertainty = float(cohort.uncertainties[position])
    return Measured(
        placement,
        value=float(cohort.values[position]),
        standard_uncertainty=None if math.isnan(uncertainty) else uncertainty,
        rank=int(cohort.places.rank[position]),
    )
