"""From a checked efficiency table to values, flags, verdicts and a trace."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Condition, Details, Measured, Outcome, Setup
from measurements.kinds.efficiency.adaptive import Ends, by_usb_steps, ends_of
from measurements.kinds.efficiency.figure import plot_of, trace_of
from measurements.kinds.efficiency.matrix import matrices_of
from measurements.kinds.efficiency.outputs import Output, OutputResult, outputs_of
from measurements.kinds.efficiency.remarks import remarks
from measurements.kinds.efficiency.verdicts import verdicts_of
from measurements.metrics.efficiency import (
    AVERAGED_LOADS,
    NAMED_LOADS,
    LoadState,
    average_efficiency,
    state_at_load,
)
from measurements.metrics.equal_power import EQUAL_POWERS_W, state_at_power
from measurements.metrics.output_voltage import load_regulation, output_deviation
from measurements.metrics.uncertainty import propagate, root_sum_square, standard_error

Readings = Mapping[str, FloatArray]


def measure(table: Table, setup: Setup) -> Outcome:
    """Every value that the table supports; `check` must have found nothing."""
    outputs = outputs_of(table, setup)
    ends = ends_of(setup, measured=(output.voltage_v for output in outputs))
    results = tuple(_result(output, setup, ends=ends) for output in outputs)
    values = (
        *_extremes(results, line=setup.line),
        *(value for result in results for value in result.values),
    )
    return Outcome(
        values=values,
        flags=remarks(table, setup, results=results),
        verdicts=verdicts_of(results, setup, ends=ends),
        trace=trace_of(table, results=results),
        plot=plot_of(results),
        details=Details(matrices=matrices_of(results)),
    )


def _result(output: Output, setup: Setup, *, ends: Ends | None) -> OutputResult:
    states = {load: _state(output, output.values, load=load) for load in NAMED_LOADS}
    condition = Condition(line=setup.line, output_v=output.voltage_v)
    average = _average("average-efficiency", output, condition=condition)
    judged, usb_steps = _judged(output, average, ends=ends, condition=condition)
    values = [
        *average,
        *judged,
        *_at_ten(output, states[10.0], condition=condition),
        *_full_load_loss(output, states[100.0], condition=condition),
        *_points(output, line=setup.line),
        *_at_powers(output, line=setup.line),
        *_voltage_values(output, condition=condition),
    ]
    return OutputResult(output=output, states=states, values=tuple(values), usb_steps=usb_steps)


def _state(output: Output, readings: Readings, *, load: float) -> LoadState | None:
    return state_at_load(
        load,
        nominal=output.nominal,
        full_load_current=output.full_load_a,
        input_power=readings["input_power"],
        output_voltage=output.voltage(readings),
        output_current=readings["output_current"],
    )


def _reached(output: Output, readings: Readings, *, load: float) -> LoadState:
    return _present(_state(output, readings, load=load))


def _present(state: LoadState | None) -> LoadState:
    """The state at a load that lies in the measured range, whatever the readings' errors."""
    if state is None:
        raise ValueError("The load lies outside the measured range.")
    return state


def _measured(
    metric: str,
    function: Callable[[Readings], float],
    *,
    output: Output,
    condition: Condition,
    scatter: float = 0.0,
) -> Measured:
    """The function's value with the instruments' uncertainty and the scatter of repeats."""
    instruments = propagate(function, values=output.values, sources=output.sources)
    return Measured(
        metric=metric,
        value=function(output.values),
        standard_uncertainty=root_sum_square((instruments, scatter)),
        condition=condition,
    )


def _average(metric: str, output: Output, *, condition: Condition) -> list[Measured]:
    states = (_state(output, output.values, load=load) for load in AVERAGED_LOADS)
    reached = [state for state in states if state is not None]
    if len(reached) < len(AVERAGED_LOADS):
        return []

    def average(readings: Readings) -> float:
        return average_efficiency(
            [_reached(output, readings, load=load) for load in AVERAGED_LOADS]
        )

    scatter = root_sum_square(state.scatter_percent for state in reached) / len(reached)
    return [_measured(metric, average, output=output, condition=condition, scatter=scatter)]


def _judged(
    output: Output, average: list[Measured], *, ends: Ends | None, condition: Condition
) -> tuple[list[Measured], bool]:
    """The efficiency by which an adaptive supply is judged, and whether by steps in ampere."""
    metric = "adaptive-efficiency"
    if ends is None or not ends.include(output.voltage_v):
        return [], False
    if not ends.ask_for_steps(output.voltage_v):
        # One voltage has no highest and lowest.
        several = len(ends.voltages) > 1
        return [replace(item, metric=metric) for item in average if several], False
    stepped = by_usb_steps(output)
    if stepped is None:
        return [], False
    return _average(metric, stepped, condition=condition), True


def _at_ten(output: Output, state: LoadState | None, *, condition: Condition) -> list[Measured]:
    if state is None:
        return []
    return [
        _measured(
            "efficiency-at-10",
            lambda readings: _reached(output, readings, load=10.0).efficiency_percent,
            output=output,
            condition=condition,
            scatter=state.scatter_percent,
        )
    ]


def _full_load_loss(
    output: Output, state: LoadState | None, *, condition: Condition
) -> list[Measured]:
    if state is None:
        return []
    return [
        _measured(
            "full-load-loss",
            lambda readings: _reached(output, readings, load=100.0).loss_w,
            output=output,
            condition=condition,
            scatter=state.scatter_w,
        )
    ]


def _points(output: Output, *, line: str) -> list[Measured]:
    """The efficiency at every load that was measured, repeats of one load averaged."""
    values = []
    for load in np.unique(output.nominal[output.loaded]):
        rows = output.nominal == load

        def mean_efficiency(readings: Readings, rows: NDArray[np.bool_] = rows) -> float:
            return float(np.mean(output.efficiency(readings)[rows]))

        values.append(
            _measured(
                "efficiency",
                mean_efficiency,
                output=output,
                condition=Condition(line=line, output_v=output.voltage_v, load_percent=float(load)),
                scatter=standard_error(output.efficiency(output.values)[rows]),
            )
        )
    return values


def _at_powers(output: Output, *, line: str) -> list[Measured]:
    """The efficiency at every compared output power that lies in the measured range."""
    values = []
    read_power = output.power(output.values)
    for power_w in EQUAL_POWERS_W:

        def state_of(readings: Readings, power_w: float = power_w) -> LoadState | None:
            return state_at_power(
                power_w,
                read_power=read_power,
                nominal=output.nominal,
                input_power=readings["input_power"],
                output_power=output.power(readings),
            )

        state = state_of(output.values)
        if state is None:
            continue
        values.append(
            _measured(
                "efficiency-at-power",
                lambda readings: _present(state_of(readings)).efficiency_percent,
                output=output,
                condition=Condition(line=line, output_v=output.voltage_v, load=f"{power_w:g} W"),
                scatter=state.scatter_percent,
            )
        )
    return values


def _voltage_values(output: Output, *, condition: Condition) -> list[Measured]:
    def deviation(readings: Readings) -> float:
        return output_deviation(output.voltage(readings), nominal_voltage=output.voltage_v)

    def regulation(readings: Readings) -> float:
        return load_regulation(
            output.voltage(readings), nominal=output.nominal, nominal_voltage=output.voltage_v
        )

    values = [_measured("output-deviation", deviation, output=output, condition=condition)]
    if np.min(output.nominal) < np.max(output.nominal):
        values.append(_measured("load-regulation", regulation, output=output, condition=condition))
    return values


def _extremes(results: tuple[OutputResult, ...], *, line: str) -> list[Measured]:
    """Lowest and highest efficiency over the loaded points of all outputs."""
    lowest = [_extreme("lowest-efficiency", np.min, item.output, line=line) for item in results]
    highest = [_extreme("highest-efficiency", np.max, item.output, line=line) for item in results]
    return [
        min(lowest, key=lambda measured: measured.value),
        max(highest, key=lambda measured: measured.value),
    ]


def _extreme(
    metric: str, choose: Callable[[FloatArray], np.float64], output: Output, *, line: str
) -> Measured:
    return _measured(
        metric,
        lambda readings: float(choose(output.efficiency(readings)[output.loaded])),
        output=output,
        condition=Condition(line=line),
    )
