"""The trace of a thermal run and the chart of it."""

from __future__ import annotations

from collections.abc import Mapping

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Plot, PlotLine, PlotRule
from measurements.kinds.thermal.sensors import AMBIENT_COLUMN
from measurements.kinds.thermal.soak import Soak


def trace_of(table: Table, *, soak: Soak) -> Mapping[str, FloatArray]:
    """Time in minutes from the first row, every sensor, and the ambient if it was logged."""
    trace = {"time_min": soak.time_s / 60}
    trace |= {sensor.column: sensor.readings for sensor in soak.sensors}
    if soak.ambient.series is not None:
        trace[AMBIENT_COLUMN] = table[AMBIENT_COLUMN]
    return trace


def plot_of(soak: Soak) -> Plot:
    """Temperatures over time with the touch limits of the materials."""
    lines = [PlotLine(sensor.column, sensor.label) for sensor in soak.sensors]
    if soak.ambient.series is not None:
        lines.append(PlotLine(AMBIENT_COLUMN, "ambient"))
    limits = {sensor.material: sensor.limit.value for sensor in soak.sensors}
    return Plot(
        title=_finding(soak),
        x="time_min",
        x_title="Time [min]",
        y_title="Temperature [°C]",
        lines=tuple(lines),
        rules=tuple(
            PlotRule("y", limit, f"touch limit, {material}") for material, limit in limits.items()
        ),
    )


def _finding(soak: Soak) -> str:
    """The chart's title: warmest sensor, and how far the tightest is from its touch limit."""
    warmest = max(soak.sensors, key=lambda sensor: sensor.highest)
    tightest = min(soak.sensors, key=lambda sensor: sensor.headroom)
    side = "below" if tightest.headroom >= 0 else "above"
    distance = f"{abs(tightest.headroom):.1f} K {side} the touch limit"
    start = f"Warmest at {warmest.highest:.1f} °C ({warmest.label})"
    if tightest is warmest:
        return f"{start}, {distance}"
    return f"{start}; {tightest.label} ({tightest.material}) is {distance}"
