"""What a reader of an efficiency run should know beside its values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from measurements.intake.columns import Table
from measurements.kinds.base import Flag, Setup
from measurements.kinds.efficiency.leads import lead_of
from measurements.kinds.efficiency.outputs import MEASURED_COLUMNS, Output, OutputResult
from measurements.kinds.instruments import instrument_flags, listed
from measurements.kinds.slips import hardly_anything_comes_out
from measurements.kinds.strongest import port_flags
from measurements.metrics.efficiency import AVERAGED_LOADS, LOAD_TOLERANCE, NAMED_LOADS
from measurements.metrics.uncertainty import AS_READ

_SHOWN_ROWS = 5


def remarks(table: Table, setup: Setup, *, results: Sequence[OutputResult]) -> tuple[Flag, ...]:
    """Every flag of the run, each code at most once."""
    return (
        *_rating(results),
        *hardly_anything_comes_out(
            table["output_voltage_v"] * table["output_current_a"], input_w=table["input_power_w"]
        ),
        *_loads(results),
        *_labels(table, results=results),
        *port_flags(setup),
        *instrument_flags(setup, quantities=MEASURED_COLUMNS),
        *_leads(setup),
    )


def _rating(results: Sequence[OutputResult]) -> Iterator[Flag]:
    assumed = [item.output for item in results if item.output.assumed]
    if assumed:
        currents = listed(f"{output.full_load_a:g} A at {output.name}" for output in assumed)
        yield Flag(
            "assumed-rating",
            "warning",
            f"No current is advertised in the catalogue; 100 % load is the largest current in "
            f"the table: {currents}.",
        )
    beyond = [item.output for item in results if np.max(item.output.nominal) > 100]
    if beyond:
        loads = listed(f"{np.max(output.nominal):g} % at {output.name}" for output in beyond)
        yield Flag(
            "over-rating",
            "note",
            f"The load goes beyond the advertised current: {loads}.",
        )


def _loads(results: Sequence[OutputResult]) -> Iterator[Flag]:
    interpolated, missing = [], []
    average_missing = False
    for item in results:
        loads = [load for load, state in item.states.items() if state and state.interpolated]
        if loads:
            interpolated.append(f"{_percent(loads)} at {item.output.name}")
        absent = [load for load in NAMED_LOADS if item.states[load] is None]
        if absent:
            missing.append(f"{_percent(absent)} at {item.output.name}")
            average_missing |= bool(set(absent) & set(AVERAGED_LOADS))
    if interpolated:
        yield Flag(
            "interpolated",
            "note",
            f"No point within ±{LOAD_TOLERANCE:g} points of the load; the loss was "
            f"interpolated between measured neighbours: {listed(interpolated)}.",
        )
    if missing:
        consequence = (
            "Without all of 25, 50, 75 and 100 % there is no average efficiency"
            if average_missing
            else "The efficiency at that load is not given"
        )
        yield Flag(
            "missing-load",
            "warning" if average_missing else "note",
            f"The load lies outside the measured range: {listed(missing)}. {consequence}; "
            "nothing is extrapolated.",
        )
    single = [item.output.name for item in results if len(np.unique(item.output.nominal)) == 1]
    if single:
        yield Flag(
            "one-load",
            "note",
            f"One load only at {listed(single)}: there is no load regulation.",
        )


def _labels(table: Table, *, results: Sequence[OutputResult]) -> Iterator[Flag]:
    """The tester's own load labels, where the measured current contradicts them."""
    if "load_percent" not in table:
        return
    rows = [row for item in results for row in _contradicted(table, output=item.output)]
    if rows:
        shown = ", ".join(str(row) for row in sorted(rows)[:_SHOWN_ROWS])
        more = f" and {len(rows) - _SHOWN_ROWS} more" if len(rows) > _SHOWN_ROWS else ""
        yield Flag(
            "load-label",
            "warning",
            f"The column load_percent differs by more than {LOAD_TOLERANCE:g} points from the "
            f"measured current over the current at 100 % load in row {shown}{more}; "
            "the measured current was used.",
        )


def _contradicted(table: Table, *, output: Output) -> list[int]:
    measured = 100 * output.current[AS_READ] / output.full_load_a
    # A blank label is NaN, and no comparison with NaN is true.
    differs = np.abs(table["load_percent"][output.rows] - measured) > LOAD_TOLERANCE
    return [int(row) for row in table.rows[output.rows[differs]]]


def _leads(setup: Setup) -> Iterator[Flag]:
    lead = lead_of(setup)
    if lead.resistance_ohm > 0:
        accuracy = f"±{lead.accuracy_percent:g} %{', assumed' if lead.accuracy_assumed else ''}"
        yield Flag(
            "lead-corrected",
            "note",
            "Output voltages are corrected to the receptacle for a lead of "
            f"{lead.resistance_ohm:g} Ω ({accuracy}): V + I · R.",
        )


def _percent(loads: Sequence[float]) -> str:
    return f"{listed(f'{load:g}' for load in loads)} %"
