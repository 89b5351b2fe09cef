"""An overlay of charges as its page lays it out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from django import template

from comparisons.queries.charge_differences import QUANTITIES, Difference
from comparisons.queries.charge_overlays import Curve, Overlay
from measurements.kinds import all_metrics
from measurements.kinds.base import Metric
from measurements.metrics.repeatability import Repeatability
from measurements.templatetags.figures import MISSING, figure

register = template.Library()


@dataclass(frozen=True, slots=True)
class QuantityRow:
    """One quantity of every curve."""

    metric: Metric
    cells: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class RepeatRow:
    """How well one quantity repeats, and with how many decimals to say it."""

    metric: Metric
    repeats: Repeatability
    places: int


@register.filter
def by_quantity(overlay: Overlay) -> list[QuantityRow]:
    """Rows of the table: quantities that at least one curve has."""
    rows = [
        QuantityRow(cells[0].metric, cells)
        for cells in zip(*(curve.differences for curve in overlay.curves), strict=True)
    ]
    return [row for row in rows if any(cell.value is not None for cell in row.cells)]


@register.filter
def repeat_rows(overlay: Overlay) -> list[RepeatRow]:
    """Repeatability by quantity, each with two significant digits."""
    return [
        RepeatRow(all_metrics()[key], overlay.repeats[key], _places(overlay.repeats[key].deviation))
        for key in QUANTITIES
        if key in overlay.repeats
    ]


def _places(value: float) -> int:
    return max(0, 1 - math.floor(math.log10(value))) if value > 0 else 0


@register.filter
def signed(value: float | None, decimals: int) -> str:
    """A difference with its sign; a dash for none."""
    if value is None:
        return MISSING
    text = figure(value, decimals)
    return text if text.startswith("−") or not text.strip("0.") else f"+{text}"


@register.filter
def per_hour(watt_minutes: float) -> float:
    """An area of watts over minutes as energy. [Wh]"""
    return watt_minutes / 60


@register.filter
def stretch(curve: Curve) -> str:
    """From where to where its power was compared; a percent reaches to the next one."""
    if curve.against is None:
        return MISSING
    return _from_to(curve, curve.against.start, curve.against.end)


@register.filter
def place_of_largest(curve: Curve) -> str:
    """Where its power lies farthest off: a moment, or the percent from end to end."""
    if curve.against is None:
        return MISSING
    at = curve.against.largest_at
    return f"{figure(at, 0)} min" if curve.by == "time" else _from_to(curve, at, at)


def _from_to(curve: Curve, start: float, end: float) -> str:
    if curve.by == "time":
        return f"{figure(start, 0)} to {figure(end, 0)} min"
    # Percents are named by their lower ends.
    return f"{figure(start, 0)} to {figure(end + 1, 0)} %"
