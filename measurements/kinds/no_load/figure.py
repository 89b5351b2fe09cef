"""The chart of a no-load record."""

from __future__ import annotations

import numpy as np

from measurements.kinds.base import Plot, PlotBand, PlotLine, PlotRule
from measurements.kinds.no_load.record import Record


def figure(record: Record) -> Plot:
    """Power over time, with the mean and the third that was left out."""
    drift = record.drift_w_per_h
    finding = f"Draws {record.mean_w:.3f} W on average; " + (
        "drift unknown" if drift is None else f"drift {round(drift * 1000, 1) + 0.0:.1f} mW/h"
    )
    first = int(np.argmax(record.kept))
    if record.time_s is None:
        x, x_title, start, stop = "reading", "Reading", 1.0, float(first + 1)
    else:
        x, x_title, start, stop = "time_min", "Time [min]", 0.0, float(record.time_s[first]) / 60
    left_out = PlotBand(start, stop, "first third, left out")
    return Plot(
        title=finding,
        x=x,
        x_title=x_title,
        y_title="Input power [W]",
        lines=(PlotLine("input_power_w", "Input power"),),
        rules=(PlotRule("y", record.mean_w, f"mean {record.mean_w:.4f} W"),),
        bands=(left_out,) if first > 0 else (),
    )
