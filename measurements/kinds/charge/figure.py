"""The trace of a charge and the chart of it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from measurements.intake.columns import FloatArray
from measurements.kinds.base import Plot, PlotBand, PlotLine, PlotRule
from measurements.kinds.charge.happenings import Happenings
from measurements.kinds.charge.level import Level
from measurements.kinds.charge.marks import marks_of
from measurements.kinds.charge.milestones import Milestones
from measurements.kinds.charge.record import Record
from measurements.kinds.charge.summary import minutes

# More names than this, beside those of the milestones, do not fit above a chart; marks of what
# befell a charge go before its stages, of which the longest stay in any case.
_MOST_NAMES = 6
_FEWEST_STAGES = 2


def trace_of(record: Record, *, level: Level) -> Mapping[str, FloatArray]:
    """Time in minutes from the start of the charge, power, level, voltage and current.

    Every gap of the log has a row of NaN in its middle, so that no line is drawn across it.
    """
    columns = {
        "power_w": record.power_w,
        "level_percent": level.percent,
        "voltage_v": record.values["output_voltage"],
        "current_a": record.values["output_current"],
    }
    if record.battery is not None:
        columns["battery_percent"] = record.battery
    if "input_power" in record.values:
        columns["input_power_w"] = record.values["input_power"]
    gaps = np.flatnonzero(~record.joined)
    middles = (record.time_s[gaps] + record.time_s[gaps + 1]) / 2
    trace = {"time_min": np.insert(record.time_s, gaps + 1, middles) / 60}
    trace |= {name: np.insert(values, gaps + 1, np.nan) for name, values in columns.items()}
    return trace


def plot_of(
    record: Record, *, level: Level, milestones: Milestones, happenings: Happenings
) -> Plot:
    """Power over time with its longest steady stages, what befell it, and the milestones."""
    marks = marks_of(happenings)
    room = max(_MOST_NAMES - len(marks), _FEWEST_STAGES)
    longest = sorted(happenings.steady, key=lambda stage: stage.start - stage.end)[:room]
    stages = [
        PlotBand(stage.start / 60, stage.end / 60, f"{stage.mean:.3g} W") for stage in longest
    ]
    return Plot(
        title=_finding(record, level=level, milestones=milestones, happenings=happenings),
        x="time_min",
        x_title="Time from the start of the charge [min]",
        y_title="Power into the device [W]",
        lines=(PlotLine("power_w", "Power"),),
        rules=(
            *(mark for mark in marks if isinstance(mark, PlotRule)),
            *(
                PlotRule(
                    "x", item.time_s / 60, "full" if item.percent == 100 else f"{item.percent:g} %"
                )
                for item in milestones.reached
            ),
        ),
        bands=tuple(
            sorted(
                (*stages, *(mark for mark in marks if isinstance(mark, PlotBand))),
                key=lambda band: band.start,
            )
        ),
    )


def _finding(
    record: Record, *, level: Level, milestones: Milestones, happenings: Happenings
) -> str:
    """The chart's title: how long the charge took, and its longest stage."""
    reached = [item for item in milestones.reached if item.percent >= 80]
    if reached:
        times = " and ".join(
            f"{'full' if item.percent == 100 else f'{item.percent:g} %'} after "
            f"{minutes(item.time_s)}"
            for item in reached
        )
        start = f"{times[0].upper()}{times[1:]}"
        if level.source == "charge":
            start += " (level inferred)"
    else:
        start = f"{minutes(record.time_s[record.last])} of charging"
    if not happenings.steady:
        return start
    stage = max(happenings.steady, key=lambda stage: stage.end - stage.start)
    return f"{start}; longest at {stage.mean:.3g} W, for {minutes(stage.end - stage.start)}"
