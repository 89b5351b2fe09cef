"""Charges over each other: one line a run, power over time or over battery level."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from comparisons.queries.charge_overlays import Overlay
from measurements.charts import WHOLE, Shown, Size, Theme, plot_svg
from measurements.intake.columns import FloatArray

MOST_CURVES = 6
"""Lines have six colours and dashes; more would share them."""

_X_TITLES = {"time": "Time from the start of the charge, min", "level": "Battery level, %"}


def overlay_svg(
    overlay: Overlay, theme: Theme, *, size: Size = "wide", shown: Shown = WHOLE
) -> str:
    """Draw an overlay as SVG with its finding as title; gaps of a record stay gaps."""
    plot, trace = overlay_plot(overlay)
    return plot_svg(plot, trace, theme, size=size, shown=shown)


def overlay_plot(overlay: Overlay) -> tuple[dict[str, Any], dict[str, list[float | None]]]:
    """The overlay in the words of a run's plot, and its trace: every curve on the points of all.

    Columns of the trace stand in the order of the lines, the x axis [min or %] first; power in W.
    """
    points = np.unique(np.concatenate([curve.x for curve in overlay.curves]))
    lines, columns = [], {"x": points}
    for position, curve in enumerate(overlay.curves):
        name = f"curve_{position}"
        label = f"{curve.label}, the reference" if curve.is_reference else curve.label
        lines.append({"column": name, "label": label, "mark": "line"})
        columns[name] = _on(points, x=curve.x, y=curve.power_w)
    plot = {
        "title": overlay.title,
        "x": "x",
        "x_title": _X_TITLES[overlay.by],
        "y_title": "Charging power, W",
        "lines": lines,
        "rules": [],
        "bands": [],
    }
    return plot, _plain(columns)


def _on(points: FloatArray, *, x: FloatArray, y: FloatArray) -> FloatArray:
    """The curve on `points`; NaN outside it and where a neighbour is NaN."""
    if len(x) == 0:
        return np.full(len(points), np.nan)
    inside = np.interp(points, x, np.where(np.isnan(y), 0.0, y), left=np.nan, right=np.nan)
    broken = np.interp(points, x, np.isnan(y).astype(np.float64)) > 0
    return np.where(broken, np.nan, inside)


def _plain(columns: Mapping[str, FloatArray]) -> dict[str, list[float | None]]:
    return {
        name: [None if np.isnan(value) else float(value) for value in column]
        for name, column in columns.items()
    }
