"""The trace of a thermal run and the chart of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Plot, PlotBand, PlotLine, PlotRule
from measurements.kinds.thermal.power import POWER_COLUMN
from measurements.kinds.thermal.sensors import AMBIENT_COLUMN
from measurements.kinds.thermal.soak import Soak

_MOST_NAMED_BANDS = 3


def trace_of(table: Table, *, soak: Soak) -> Mapping[str, FloatArray]:
    """Time in minutes from the first row, every sensor, ambient and power if they were logged."""
    trace = {"time_min": soak.time_s / 60}
    trace |= {sensor.column: sensor.readings for sensor in soak.sensors}
    if soak.ambient.series is not None:
        trace[AMBIENT_COLUMN] = table[AMBIENT_COLUMN]
    if soak.power is not None:
        trace[POWER_COLUMN] = soak.power.readings
    return trace


def plot_of(soak: Soak) -> Plot:
    """Temperatures over time, the touch limits of the materials, and where the output was low."""
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
        bands=tuple(_bands(soak)),
    )


def _bands(soak: Soak) -> Iterator[PlotBand]:
    """Where the output power was below its first level."""
    if soak.power is None or soak.power.course is None:
        return
    reductions = soak.power.course.reductions
    for position, reduction in enumerate(reductions):
        stop = soak.time_s[-1] if reduction.recovery is None else reduction.recovery
        # The names of many bands would tower over the chart.
        named = position == 0 or len(reductions) <= _MOST_NAMED_BANDS
        label = f"output at {reduction.level:.4g} W" if named else ""
        yield PlotBand(reduction.onset / 60, float(stop) / 60, label)


def _finding(soak: Soak) -> str:
    """The chart's title: warmest sensor, distance from the touch limit, reduced output."""
    return _warmest(soak) + _reduced(soak)


def _reduced(soak: Soak) -> str:
    if soak.power is None or soak.power.course is None or not soak.power.throttled:
        return ""
    first = soak.power.throttled[0]
    return (
        f"; output reduced from {soak.power.course.level:.4g} W to {first.level:.4g} W at "
        f"{first.onset / 60:.3g} min"
    )


def _warmest(soak: Soak) -> str:
    warmest = max(soak.sensors, key=lambda sensor: sensor.highest)
    tightest = min(soak.sensors, key=lambda sensor: sensor.headroom)
    side = "below" if tightest.headroom >= 0 else "above"
    distance = f"{abs(tightest.headroom):.1f} K {side} the touch limit"
    start = f"Warmest at {warmest.highest:.1f} °C ({warmest.label})"
    if tightest is warmest:
        return f"{start}, {distance}"
    return f"{start}; {tightest.label} ({tightest.material}) is {distance}"
