"""The trace of a ripple run and the chart of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from measurements.intake.columns import FloatArray
from measurements.kinds.base import Plot, PlotLine, PlotRule
from measurements.kinds.ripple.points import Point, voltages_of
from measurements.kinds.ripple.waveform import Waveform
from measurements.metrics.downsample import downsample

# Ten times what a page shows: enough to thin again without losing what stands out.
_DRAWN_SAMPLES = 20_000


@dataclass(frozen=True, slots=True)
class _TimeUnit:
    """Unit of the time axis: trace column, sign, and how many make a second."""

    column: str
    sign: str
    per_second: float


_MICROSECONDS = _TimeUnit("time_us", "µs", 1e6)
_MILLISECONDS = _TimeUnit("time_ms", "ms", 1e3)
_SECONDS = _TimeUnit("time_s", "s", 1.0)


def trace_of_points(points: Sequence[Point]) -> Mapping[str, FloatArray]:
    """Every point by voltage and rising current; one ripple column for each voltage."""
    trace = {
        "output_nominal_v": np.array([point.voltage_v for point in points]),
        "output_current_a": np.array([point.current_a for point in points]),
        "load_percent": _load_percent(points),
        "ripple_mv_pp": np.array([point.ripple_mv for point in points]),
    }
    for voltage_v in voltages_of(points):
        own = trace["output_nominal_v"] == voltage_v
        trace[_column_of(voltage_v)] = np.where(own, trace["ripple_mv_pp"], np.nan)
    return trace


def plot_of_points(points: Sequence[Point]) -> Plot:
    """Ripple over the load, one line for each voltage.

    Several voltages are drawn over the share of their full currents: over the current itself
    the lines would end in the middle of the chart, and their names would lie on one another.
    """
    voltages = voltages_of(points)
    alone = len(voltages) == 1
    worst = max(points, key=lambda point: point.ripple_mv)
    return Plot(
        title=(
            f"Largest ripple {worst.ripple_mv:.1f} mV peak to peak at {worst.voltage_v:g} V, "
            f"{worst.current_a:.3g} A ({worst.share_percent:.2f} % of nominal)"
        ),
        x="output_current_a" if alone else "load_percent",
        x_title="Output current [A]" if alone else _load_title(points),
        y_title="Ripple, peak to peak [mV]",
        lines=tuple(
            PlotLine(_column_of(voltage_v), f"{voltage_v:g} V", mark="line-point")
            for voltage_v in voltages
        ),
    )


def trace_of_waveform(waveform: Waveform) -> Mapping[str, FloatArray]:
    """Time from the first sample that counts, and the band-limited ripple [mV].

    A long record is thinned to rows that still hold every extreme: a copy of ten million samples
    in other units would only cost memory.
    """
    unit = _time_unit(waveform)
    thinned = downsample(
        {"time": waveform.time_s, "ripple": waveform.ripple}, points=_DRAWN_SAMPLES, x="time"
    )
    return {
        unit.column: (thinned["time"] - waveform.time_s[0]) * unit.per_second,
        "ripple_mv": 1000 * thinned["ripple"],
    }


def plot_of_waveform(waveform: Waveform) -> Plot:
    """Ripple over time between its highest and its lowest sample."""
    unit = _time_unit(waveform)
    highest = 1000 * float(waveform.ripple.max())
    lowest = 1000 * float(waveform.ripple.min())
    return Plot(
        title=_finding(waveform),
        x=unit.column,
        x_title=f"Time [{unit.sign}]",
        y_title="Output voltage without its mean [mV]",
        lines=(PlotLine("ripple_mv", "Ripple"),),
        rules=(
            PlotRule("y", highest, f"highest {_signed(highest)} mV"),
            PlotRule("y", lowest, f"lowest {_signed(lowest)} mV"),
        ),
    )


def frequency_text(frequency: float) -> str:
    """A frequency [Hz] as a person writes it: ``132 kHz``."""
    for size, sign in ((1e6, "MHz"), (1e3, "kHz")):
        if frequency >= size:
            return f"{frequency / size:.3g} {sign}"
    return f"{frequency:.3g} Hz"


def _load_percent(points: Sequence[Point]) -> FloatArray:
    """Load of every point [%]: of the advertised current, else of the largest at its voltage."""
    largest = {
        voltage_v: max(point.current_a for point in points if point.voltage_v == voltage_v)
        for voltage_v in voltages_of(points)
    }
    full = (point.advertised_a or largest[point.voltage_v] for point in points)
    return np.array(
        [
            100 * point.current_a / current_a if current_a > 0 else 0.0
            for point, current_a in zip(points, full, strict=True)
        ]
    )


def _load_title(points: Sequence[Point]) -> str:
    if all(point.advertised_a for point in points):
        return "Load [% of the advertised current]"
    return "Load [% of the advertised or the largest measured current]"


def _finding(waveform: Waveform) -> str:
    """The chart's title: the ripple, where it was measured, and its strongest line."""
    size = (
        f"{1000 * waveform.peak_to_peak:.1f} mV peak to peak at {waveform.nominal_v:g} V, "
        f"{waveform.current_a:.3g} A"
    )
    if waveform.line is None:
        return f"{size}: a flat record"
    return f"{size}; strongest line at {frequency_text(waveform.line.frequency)}"


def _signed(value: float) -> str:
    """A number with its sign, the minus as long as the plus, as on the axis."""
    return f"{value:+.1f}".replace("-", "−")


def _time_unit(waveform: Waveform) -> _TimeUnit:
    if waveform.duration_s < 1e-3:
        return _MICROSECONDS
    return _MILLISECONDS if waveform.duration_s < 1 else _SECONDS


def _column_of(voltage_v: float) -> str:
    """Name of a voltage's ripple column: ``ripple_3_3v``."""
    return f"ripple_{voltage_v:g}v".replace(".", "_")
