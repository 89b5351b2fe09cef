"""The chart of a scan: highest current over voltage."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from catalog.power_delivery.base import CABLE_CURRENT_A, SupplyRange
from catalog.power_delivery.capability import highest_current_a
from measurements.intake.columns import FloatArray
from measurements.kinds.base import Plot, PlotLine, PlotRule
from measurements.kinds.port_scan.scans import PortScan

# So close beside an edge that the change of current looks upright.
_BESIDE_V = 0.01
_CURVE_POINTS = 12


def trace(scans: Sequence[PortScan]) -> Mapping[str, FloatArray]:
    """Highest current [A] of every port over voltage [V], NaN where nothing is offered."""
    ranges = [part for scan in scans for item in scan.usable for part in item.ranges]
    voltages = _grid(ranges)
    return {
        "voltage_v": np.array(voltages),
        **{
            _column(scan): np.array([_current(scan, voltage_v=voltage) for voltage in voltages])
            for scan in scans
            if scan.usable
        },
    }


def figure(scans: Sequence[PortScan]) -> Plot:
    """The chart; its title is the port that advertises most."""
    offering = sorted(
        (scan for scan in scans if scan.usable), key=lambda scan: scan.top_power_w, reverse=True
    )
    best, others = offering[0], offering[1:]
    title = f"{best.label} advertises up to {best.top_power_w:.6g} W"
    if others:
        title += f"; of the others {others[0].label} most, up to {others[0].top_power_w:.6g} W"
    return Plot(
        title=title,
        x="voltage_v",
        x_title="Output voltage [V]",
        y_title="Highest current advertised [A]",
        lines=tuple(
            PlotLine(_column(scan), scan.label, mark="line-point") for scan in scans if scan.usable
        ),
        # The scale begins here, so that ports of equal current do not look like none.
        rules=(PlotRule("y", 0.0, "no current"),),
    )


def _current(scan: PortScan, *, voltage_v: float) -> float:
    current = highest_current_a(scan.usable, voltage_v=voltage_v)
    return float("nan") if current is None else current


def _grid(ranges: Iterable[SupplyRange]) -> list[float]:
    """Every voltage at which a current begins, ends or bends, and voltages beside it.

    Those beside also part two fixed supplies, which a line would join otherwise.
    """
    edges: set[float] = set()
    curves: set[float] = set()
    for part in ranges:
        edges |= {part.voltage_min_v, part.voltage_max_v}
        if part.power_max_w is not None:
            bend = min(part.power_max_w / CABLE_CURRENT_A, part.voltage_max_v)
            low = max(part.voltage_min_v, bend)
            curves |= {*np.linspace(low, part.voltage_max_v, _CURVE_POINTS).tolist()}
    beside = {edge + side for edge in edges for side in (-_BESIDE_V, _BESIDE_V)}
    return sorted(voltage for voltage in edges | curves | beside if voltage >= 0)


def _column(scan: PortScan) -> str:
    return f"{scan.label}_current_a"
