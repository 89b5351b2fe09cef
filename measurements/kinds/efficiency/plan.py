"""The operating points that an efficiency run asks for, and those that a run holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from measurements.kinds.advertised import advertised_current, advertised_outputs
from measurements.kinds.base import PlannedRun, Setup
from measurements.kinds.efficiency.adaptive import Ends, ends_of, known_voltages
from measurements.kinds.efficiency.outputs import Output
from measurements.kinds.strongest import strongest_port
from measurements.metrics.efficiency import AVERAGED_LOADS, NAMED_LOADS, nominal_load
from measurements.metrics.uncertainty import AS_READ
from measurements.standards import us_doe_appendix_z_2022 as appendix_z

COLUMNS = (
    "output_nominal_v",
    "load_percent",
    "output_current_a",
    "output_voltage_v",
    "input_power_w",
    "power_factor",
)

_MAINS = ((230.0, 50.0), (115.0, 60.0))

_Row = tuple[float | None, ...]


def plan(given: Setup) -> tuple[PlannedRun, ...]:
    """One run at each mains voltage: every output voltage of the strongest port, at every load.

    The highest voltage comes first, and at each the heaviest load, so that the adapter cools
    from point to point; the light load that only some schemes ask for comes last.
    """
    port = strongest_port(given.adapter)
    setup = replace(given, port=port)
    voltages = known_voltages(setup, measured=(appendix_z.USB_LOWEST_V,))
    rows = tuple(row for voltage in reversed(voltages) for row in _rows(setup, voltage_v=voltage))
    where = f" on {port.label}" if port is not None else ""
    return tuple(
        PlannedRun(
            title=f"Efficiency{where} at every output voltage, {mains_v:g} V mains",
            fields={
                "mains_v": mains_v,
                "mains_hz": mains_hz,
                **({"port": port.label} if port is not None else {}),
            },
            columns=COLUMNS,
            rows=rows,
            note=_note(setup),
        )
        for mains_v, mains_hz in _MAINS
    )


def set_points(outputs: Sequence[Output], *, ends: Ends | None) -> Iterator[dict[str, float]]:
    """The planned points for which one of the outputs' points counts."""
    for output in outputs:
        loads = {load for load in NAMED_LOADS if load in output.nominal}
        if ends is not None and ends.ask_for_steps(output.voltage_v):
            loads |= _steps_held(output)
        for load in sorted(loads):
            yield {"output_nominal_v": output.voltage_v, "load_percent": load}


def _steps_held(output: Output) -> set[float]:
    """The steps in ampere that were measured, as shares of full load [%]."""
    most = appendix_z.USB_STEPS_A[0]
    of_most = nominal_load(output.current[AS_READ], full_load_current=most)
    return {
        _share(most * load / 100, full_load_a=output.full_load_a)
        for load in AVERAGED_LOADS
        if load in of_most
    }


def _share(current_a: float, *, full_load_a: float) -> float:
    """A current [A] as the planned share of full load [%], to a tenth."""
    return round(100 * current_a / full_load_a, 1)


def _rows(setup: Setup, *, voltage_v: float) -> list[_Row]:
    full_load_a = advertised_current(setup, voltage_v=voltage_v)
    if full_load_a is None:
        return [_row(voltage_v, load, None) for load in sorted(NAMED_LOADS, reverse=True)]
    currents = {full_load_a * load / 100 for load in NAMED_LOADS}
    ends = ends_of(setup, measured=())
    if ends is not None and ends.ask_for_steps(voltage_v):
        currents |= {step for step in appendix_z.USB_STEPS_A if step < full_load_a}
    # To the milliampere, which also makes 50 % of 3 A and the step of 1.5 A one point.
    return [
        _row(voltage_v, _share(current, full_load_a=full_load_a), current)
        for current in sorted({round(current, 3) for current in currents}, reverse=True)
    ]


def _row(voltage_v: float, load_percent: float, current_a: float | None) -> _Row:
    return (voltage_v, load_percent, current_a, None, None, None)


def _note(setup: Setup) -> str:
    note = (
        "Warm up at the first point for 30 minutes, then go through the points in order; write "
        "each row when the input power stands still, and the measured current over the planned "
        "one. Note the room's temperature."
    )
    if advertised_outputs(setup):
        return note
    return (
        f"{note} No output is advertised in the catalogue: scan the port or enter its label "
        "first, or add the rows of its other voltages yourself."
    )
