"""The chart of a run, drawn on the server from its stored trace and plot."""

from __future__ import annotations

from measurements.charts.drawing import plot_svg, trace_svg
from measurements.charts.look import SIZES, THEMES, Size, Theme

# Goes into the cache key of a drawing: raise it when the same run would be drawn otherwise.
EDITION = 2

__all__ = ["EDITION", "SIZES", "THEMES", "Size", "Theme", "plot_svg", "trace_svg"]
