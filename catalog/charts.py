"""Geometry of what a port advertises: current over voltage, every profile on one drawing.

Pure functions from data objects to places. Across, places are shares of the width [%] or of
`UNITS`, so that the drawing fits any column while its print keeps its size; down, pixels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from catalog.power_delivery.base import CABLE_CURRENT_A, Kind, SupplyRange
from catalog.power_delivery.capability import highest_power_w
from catalog.power_delivery.objects import DataObject
from catalog.power_delivery.supplies import FixedSupply

UNITS = 1000
TOP_PX = 22.0
BOTTOM_PX = 222.0
HEIGHT_PX = 264

# Labels of fixed supplies that stand closer than this would run into each other. [%]
_LABEL_APART = 9.0
_CURVE_POINTS = 24
_FEWEST_AMPERES = 5
_NARROW_SCALE_V = 30


@dataclass(frozen=True, slots=True)
class Tick:
    """A line of the grid: its place, across [%] or down [px], and its label."""

    at: float
    label: str


@dataclass(frozen=True, slots=True)
class Point:
    """A fixed supply: its place, across [%] and down [px]; `label` is empty where one is near."""

    at: float
    top: float
    label: str


@dataclass(frozen=True, slots=True)
class Area:
    """An adjustable range as a polygon, across in `UNITS`, down in pixels."""

    kind: Kind
    points: str


@dataclass(frozen=True, slots=True)
class ProfileChart:
    """All profiles of one port."""

    title: str
    points: tuple[Point, ...]
    areas: tuple[Area, ...]
    volts: tuple[Tick, ...]
    amperes: tuple[Tick, ...]

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """The kinds among the areas, each once, for the key."""
        return tuple(dict.fromkeys(area.kind for area in self.areas))


@dataclass(frozen=True, slots=True)
class _Scales:
    """The ends of both axes; both begin at 0."""

    high_v: float
    high_a: float

    def across(self, voltage_v: float) -> float:
        return voltage_v / self.high_v

    def down(self, current_a: float) -> float:
        return round(BOTTOM_PX - (BOTTOM_PX - TOP_PX) * current_a / self.high_a, 2)


def profile_chart(objects: Sequence[DataObject]) -> ProfileChart | None:
    """The drawing of what one port offers; None when nothing can be drawn.

    A range that is only bounded by its power is drawn to the current that a cable carries. One
    whose minimum lies above its maximum has no place and is left out.

    Parameters
    ----------
    objects : sequence of DataObject
        The objects of one port. [V, A and W]

    Returns
    -------
    chart : ProfileChart or None
        Places on the drawing. [% and px]
    """
    fixed = [item for item in objects if isinstance(item, FixedSupply)]
    spans = [
        (item.kind, span)
        for item in objects
        if not isinstance(item, FixedSupply)
        for span in item.ranges
        if span.voltage_min_v <= span.voltage_max_v
    ]
    if not fixed and not spans:
        return None
    voltages = [item.voltage_v for item in fixed] + [span.voltage_max_v for _, span in spans]
    currents = [item.current_max_a for item in fixed]
    currents += [
        CABLE_CURRENT_A if span.current_max_a is None else span.current_max_a for _, span in spans
    ]
    step_v = 5 if max(voltages) <= _NARROW_SCALE_V else 10
    scales = _Scales(
        high_v=step_v * max(1, math.ceil(max(voltages) / step_v)),
        high_a=max(_FEWEST_AMPERES, math.ceil(max(currents))),
    )
    return ProfileChart(
        title=f"At most {highest_power_w(objects):g} W are advertised",
        points=_points(fixed, scales=scales),
        areas=tuple(Area(kind, _outline(span, scales=scales)) for kind, span in spans),
        volts=tuple(
            Tick(round(100 * scales.across(volts), 3), f"{volts:g}")
            for volts in range(0, round(scales.high_v) + 1, step_v)
        ),
        amperes=tuple(
            Tick(scales.down(amperes), f"{amperes:g}")
            for amperes in range(0, round(scales.high_a) + 1, 2 if scales.high_a > 6 else 1)
        ),
    )


def _points(fixed: Sequence[FixedSupply], *, scales: _Scales) -> tuple[Point, ...]:
    points: list[Point] = []
    labelled = -math.inf
    # Of one voltage, the highest current comes first and takes the label.
    for item in sorted(fixed, key=lambda supply: (supply.voltage_v, -supply.current_max_a)):
        at = round(100 * scales.across(item.voltage_v), 3)
        free = at - labelled >= _LABEL_APART
        points.append(
            Point(at, scales.down(item.current_max_a), f"{item.voltage_v:g} V" if free else "")
        )
        if free:
            labelled = at
    return tuple(points)


def _outline(span: SupplyRange, *, scales: _Scales) -> str:
    low, high = span.voltage_min_v, span.voltage_max_v
    voltages = {low, high}
    if span.power_max_w is not None:
        voltages |= {low + (high - low) * part / _CURVE_POINTS for part in range(_CURVE_POINTS)}
        # Where the cable stops bounding the current, and the power begins to.
        corner = span.power_max_w / CABLE_CURRENT_A
        voltages |= {corner} if low < corner < high else set()
    edge = [(volts, span.current_at(volts) or 0.0) for volts in sorted(voltages)]
    corners = [(low, 0.0), *edge, (high, 0.0)]
    return " ".join(
        f"{UNITS * scales.across(volts):.1f},{scales.down(amperes):g}" for volts, amperes in corners
    )
