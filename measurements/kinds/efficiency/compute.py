"""From a checked efficiency table to values, flags, verdicts and a trace."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Condition, Details, Measured, Outcome, Setup
from measurements.kinds.coverage import POINTS
from measurements.kinds.efficiency.adaptive import Ends, by_usb_steps, ends_of
from measurements.kinds.efficiency.figure import plot_of, trace_of
from measurements.kinds.efficiency.matrix import matrices_of
from measurements.kinds.efficiency.outputs import Output, OutputResult, outputs_of
from measurements.kinds.efficiency.plan import set_points
from measurements.kinds.efficiency.remarks import remarks
from measurements.kinds.efficiency.verdicts import verdicts_of
from measurements.kinds.strongest import compared_by_port
from measurements.metrics.between import mean_by_load
from measurements.metrics.efficiency import (
    AVERAGED_LOADS,
    NAMED_LOADS,
    LoadState,
    average_efficiency,
    states_at_loads,
)
from measurements.metrics.equal_power import EQUAL_POWERS_W, states_at_powers
from measurements.metrics.output_voltage import load_regulation, output_deviation
from measurements.metrics.uncertainty import (
    AS_READ,
    error_of_sets,
    root_sum_square,
    standard_error,
)

States = Mapping[float, LoadState | None]


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
        values=compared_by_port(values, setup),
        flags=remarks(table, setup, results=results),
        verdicts=verdicts_of(results, setup, ends=ends),
        trace=trace_of(table, results=results),
        plot=plot_of(results),
        details=Details(
            facts={POINTS: list(set_points(outputs, ends=ends))}, matrices=matrices_of(results)
        ),
    )


def _result(output: Output, setup: Setup, *, ends: Ends | None) -> OutputResult:
    states = _states(output)
    condition = Condition(line=setup.line, output_v=output.voltage_v)
    average = _average("average-efficiency", states, condition=condition)
    judged, usb_steps = _judged(output, average, ends=ends, condition=condition)
    values = [
        *average,
        *judged,
        *_at_ten(states[10.0], condition=condition),
        *_at_loads(states, condition=condition),
        *_full_load_loss(states[100.0], condition=condition),
        *_points(output, line=setup.line),
        *_at_powers(output, line=setup.line),
        *_voltage_values(output, condition=condition),
    ]
    return OutputResult(output=output, states=states, values=tuple(values), usb_steps=usb_steps)


def _states(output: Output) -> States:
    return states_at_loads(
        NAMED_LOADS,
        nominal=output.nominal,
        full_load_current=output.full_load_a,
        input_power=output.input_power,
        output_voltage=output.voltage,
        output_current=output.current,
    )


def _measured(
    metric: str, results: FloatArray, *, condition: Condition, scatter: float = 0.0
) -> Measured:
    """The result with the instruments' uncertainty and the scatter of repeats."""
    return Measured(
        metric=metric,
        value=_as_read(results),
        standard_uncertainty=root_sum_square((error_of_sets(results), scatter)),
        condition=condition,
    )


def _average(metric: str, states: States, *, condition: Condition) -> list[Measured]:
    reached = [state for load in AVERAGED_LOADS if (state := states[load]) is not None]
    if len(reached) < len(AVERAGED_LOADS):
        return []
    scatter = root_sum_square(state.scatter_percent for state in reached) / len(reached)
    return [_measured(metric, average_efficiency(reached), condition=condition, scatter=scatter)]


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
    return _average(metric, _states(stepped), condition=condition), True


def _at_ten(state: LoadState | None, *, condition: Condition) -> list[Measured]:
    if state is None:
        return []
    return [
        _measured(
            "efficiency-at-10",
            state.efficiency_percent,
            condition=condition,
            scatter=state.scatter_percent,
        )
    ]


def _at_loads(states: States, *, condition: Condition) -> list[Measured]:
    """The efficiency at every load of the method that was reached."""
    return [
        _measured(
            "efficiency-at-load",
            state.efficiency_percent,
            condition=replace(condition, load=f"{load:g} %"),
            scatter=state.scatter_percent,
        )
        for load, state in states.items()
        if state is not None
    ]


def _full_load_loss(state: LoadState | None, *, condition: Condition) -> list[Measured]:
    if state is None:
        return []
    return [_measured("full-load-loss", state.loss_w, condition=condition, scatter=state.scatter_w)]


def _points(output: Output, *, line: str) -> list[Measured]:
    """The efficiency at every load that was measured, repeats of one load averaged."""
    nominal, efficiencies = output.nominal[output.loaded], output.efficiency[:, output.loaded]
    means = mean_by_load(nominal, values=efficiencies)
    return [
        _measured(
            "efficiency",
            results,
            condition=Condition(line=line, output_v=output.voltage_v, load_percent=float(load)),
            scatter=standard_error(efficiencies[AS_READ, nominal == load]),
        )
        for load, results in zip(np.unique(nominal), means.T, strict=True)
    ]


def _at_powers(output: Output, *, line: str) -> list[Measured]:
    """The efficiency at every compared output power that lies in the measured range."""
    states = states_at_powers(
        EQUAL_POWERS_W,
        read_power=output.power[AS_READ],
        nominal=output.nominal,
        input_power=output.input_power,
        output_power=output.power,
    )
    return [
        _measured(
            "efficiency-at-power",
            state.efficiency_percent,
            condition=Condition(line=line, output_v=output.voltage_v, load=f"{power_w:g} W"),
            scatter=state.scatter_percent,
        )
        for power_w, state in states.items()
        if state is not None
    ]


def _voltage_values(output: Output, *, condition: Condition) -> list[Measured]:
    deviation = output_deviation(output.voltage, nominal_voltage=output.voltage_v)
    values = [_measured("output-deviation", deviation, condition=condition)]
    if np.min(output.nominal) < np.max(output.nominal):
        regulation = load_regulation(
            output.voltage, nominal=output.nominal, nominal_voltage=output.voltage_v
        )
        values.append(_measured("load-regulation", regulation, condition=condition))
    return values


def _extremes(results: tuple[OutputResult, ...], *, line: str) -> list[Measured]:
    """Lowest and highest efficiency over the loaded points of all outputs."""
    loaded = [item.output.efficiency[:, item.output.loaded] for item in results]
    lowest = [np.min(efficiencies, axis=-1) for efficiencies in loaded]
    highest = [np.max(efficiencies, axis=-1) for efficiencies in loaded]
    condition = Condition(line=line)
    return [
        _measured("lowest-efficiency", min(lowest, key=_as_read), condition=condition),
        _measured("highest-efficiency", max(highest, key=_as_read), condition=condition),
    ]


def _as_read(results: FloatArray) -> float:
    return float(results[AS_READ])
