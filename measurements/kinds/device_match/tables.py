"""The matrix of devices and ports, the list beside it, and the facts kept with a run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from measurements.kinds.base import Cell, Details, Listing, Matrix, Setup
from measurements.kinds.coverage import POINTS
from measurements.kinds.device_match.pairs import Tried
from measurements.metrics.uncertainty import root_sum_square


def best_by_device(tried: Sequence[Tried]) -> Mapping[str, Tried]:
    """Slug → the row with the highest power, the first of equals, in the order of the file."""
    best: dict[str, Tried] = {}
    for item in tried:
        device = item.pair.device
        if device not in best or item.pair.power_w > best[device].pair.power_w:
            best[device] = item
    return best


def details_of(setup: Setup, *, tried: Sequence[Tried]) -> Details:
    """Everything that is kept with a run beside its values."""
    return Details(
        facts={
            "pairs": [item.pair.as_json() for item in tried],
            POINTS: [{"device": item.pair.device, "port": item.pair.port} for item in tried],
        },
        listings=(_pairs(setup, tried=tried),),
        matrices=(_matrix(setup, tried=tried),),
    )


def _matrix(setup: Setup, *, tried: Sequence[Tried]) -> Matrix:
    used = {item.pair.port for item in tried}
    ports = tuple(port.label for port in setup.adapter.ports if port.label in used)
    best = best_by_device(tried)
    by_pair = {(item.pair.device, item.pair.port): item for item in tried}
    return Matrix(
        key="devices",
        title=_finding(list(best.values())),
        row_title="Device",
        column_title="Power drawn at the port",
        unit="W",
        decimals=1,
        better="higher",
        rows=tuple(item.name for item in best.values()),
        columns=ports,
        cells=tuple(
            tuple(
                _cell(
                    by_pair.get((device, port)),
                    best=highest,
                    alone=sum(item.pair.device == device for item in tried) == 1,
                )
                for port in ports
            )
            for device, highest in best.items()
        ),
    )


def _finding(best: Sequence[Tried]) -> str:
    ranked = sorted(best, key=lambda item: item.pair.power_w)
    lowest, highest = ranked[0], ranked[-1]
    most = f"{highest.name} draws at most {highest.pair.power_w:.1f} W, on {highest.pair.port}"
    if len(ranked) == 1:
        return most
    return f"{most}; {lowest.name} at most {lowest.pair.power_w:.1f} W, on {lowest.pair.port}"


def _cell(tried: Tried | None, *, best: Tried, alone: bool) -> Cell:
    """A pair's power, marked where no other port gave the device more beyond U."""
    if tried is None:
        return Cell(text="not tried")
    behind = best.pair.power_w - tried.pair.power_w
    expanded = root_sum_square((best.expanded, tried.expanded))
    is_best = tried is best or behind <= expanded
    marks = [tried.pair.protocol] if tried.pair.protocol else []
    marks += ["best"] if is_best and not alone and best.pair.power_w > 0 else []
    return Cell(
        value=tried.pair.power_w,
        mark=" · ".join(marks),
        note=f"{tried.pair.voltage_v:.2f} V, {tried.pair.current_a:.3f} A",
    )


def _pairs(setup: Setup, *, tried: Sequence[Tried]) -> Listing:
    best = best_by_device(tried)
    highest = {device.slug: device.max_power_w for device in setup.devices}
    return Listing(
        key="pairs",
        title="Every device on every port",
        headings=(
            "Device",
            "Port",
            "Protocol",
            "Voltage, V",
            "Current, A",
            "Power, W",
            "U (k = 2), W",
            "Of its best port here, %",
            "Of the most it can take, %",
        ),
        rows=tuple(
            (
                item.name,
                item.pair.port,
                item.pair.protocol,
                f"{item.pair.voltage_v:.2f}",
                f"{item.pair.current_a:.3f}",
                f"{item.pair.power_w:.2f}",
                f"{item.expanded:.2g}",
                _percent(item.pair.power_w, best[item.pair.device].pair.power_w),
                _percent(item.pair.power_w, highest[item.pair.device]),
            )
            for item in tried
        ),
        numeric=(3, 4, 5, 6, 7, 8),
    )


def _percent(power_w: float, whole_w: float | None) -> str:
    return f"{100 * (power_w / whole_w):.0f}" if whole_w else ""
