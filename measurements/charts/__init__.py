"""The chart of a run, drawn on the server from its stored trace and plot."""

from __future__ import annotations

from measurements.charts.drawing import plot_svg, trace_svg
from measurements.charts.framing import png_of
from measurements.charts.look import SIZES, THEMES, Size, Theme
from measurements.charts.shown import STATE, WHOLE, Shown, read_shown

# Goes into the cache key of a drawing: raise it when the same run would be drawn otherwise.
EDITION = 4

__all__ = [
    "EDITION",
    "SIZES",
    "STATE",
    "THEMES",
    "WHOLE",
    "Shown",
    "Size",
    "Theme",
    "plot_svg",
    "png_of",
    "read_shown",
    "trace_svg",
]
