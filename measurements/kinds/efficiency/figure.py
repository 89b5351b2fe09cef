"""The trace of an efficiency run and the chart of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Plot, PlotLine
from measurements.kinds.efficiency.outputs import Output, OutputResult
from measurements.metrics.uncertainty import AS_READ


def trace_of(table: Table, *, results: Sequence[OutputResult]) -> Mapping[str, FloatArray]:
    """Every point by output and rising current; one efficiency column for each output.

    A row has an efficiency in the column of its own output only, and none without load.
    """
    outputs = [result.output for result in results]
    order = np.concatenate([output.rows for output in outputs])
    power = np.concatenate([output.power[AS_READ] for output in outputs])
    trace = {
        "output_nominal_v": table["output_nominal_v"][order],
        "output_current_a": table["output_current_a"][order],
        "output_voltage_v": np.concatenate([output.voltage[AS_READ] for output in outputs]),
        "output_power_w": power,
        "input_power_w": table["input_power_w"][order],
        "loss_w": table["input_power_w"][order] - power,
    }
    if "power_factor" in table:
        trace["power_factor"] = table["power_factor"][order]
    first = 0
    for output in outputs:
        column = np.full(len(order), np.nan)
        values = output.efficiency[AS_READ]
        column[first : first + len(values)] = np.where(output.loaded, values, np.nan)
        trace[column_of(output)] = column
        first += len(values)
    return trace


def plot_of(results: Sequence[OutputResult]) -> Plot:
    """Efficiency over output power, one line for each output."""
    return Plot(
        title=_finding(results),
        x="output_power_w",
        x_title="Output power [W]",
        y_title="Efficiency [%]",
        lines=tuple(
            PlotLine(column_of(item.output), item.output.name, mark="line-point")
            for item in results
        ),
    )


def column_of(output: Output) -> str:
    """Name of the output's efficiency column: ``efficiency_3_3v``."""
    return f"efficiency_{output.voltage_v:g}v".replace(".", "_")


def _finding(results: Sequence[OutputResult]) -> str:
    """The chart's title: average at the highest voltage that has one, and the best point."""
    best_value, best = max((_best(item.output), item.output.name) for item in results)
    averages = [
        (average.value, item.output.name)
        for item in results
        if (average := item.value_of("average-efficiency")) is not None
    ]
    if not averages:
        return f"At best {best_value:.1f} % at {best}; too few loads for an average"
    value, name = averages[-1]
    where = "" if name == best else f" at {best}"
    return f"{value:.1f} % on average at {name}; best {best_value:.1f} %{where}"


def _best(output: Output) -> float:
    return float(np.max(output.efficiency[AS_READ, output.loaded]))
