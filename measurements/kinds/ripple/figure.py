"""The trace of a ripple run and the chart of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from measurements.intake.columns import FloatArray
from measurements.kinds.base import Plot, PlotLine, PlotRule
from measurements.kinds.ripple.points import Point, voltages_of
from measurements.kinds.ripple.waveform import Waveform


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
        "ripple_mv_pp": np.array([point.ripple_mv for point in points]),
    }
    for voltage_v in voltages_of(points):
        own = trace["output_nominal_v"] == voltage_v
        trace[_column_of(voltage_v)] = np.where(own, trace["ripple_mv_pp"], np.nan)
    return trace


def plot_of_points(points: Sequence[Point]) -> Plot:
    """Ripple over output current, one line for each voltage."""
    worst = max(points, key=lambda point: point.ripple_mv)
    return Plot(
        title=(
            f"Largest ripple {worst.ripple_mv:.1f} mV peak to peak at {worst.voltage_v:g} V, "
            f"{worst.current_a:.3g} A ({worst.share_percent:.2f} % of nominal)"
        ),
        x="output_current_a",
        x_title="Output current [A]",
        y_title="Ripple, peak to peak [mV]",
        lines=tuple(
            PlotLine(_column_of(voltage_v), f"{voltage_v:g} V", mark="line-point")
            for voltage_v in voltages_of(points)
        ),
    )


def trace_of_waveform(waveform: Waveform) -> Mapping[str, FloatArray]:
    """Time from the first sample that counts, and the band-limited ripple [mV]."""
    unit = _time_unit(waveform)
    return {
        unit.column: (waveform.time_s - waveform.time_s[0]) * unit.per_second,
        "ripple_mv": 1000 * waveform.ripple,
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
