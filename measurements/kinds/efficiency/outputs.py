"""The rows of a table sorted by output voltage, each with its 100 % current and its errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import FloatArray, IntArray, Table
from measurements.kinds.advertised import advertised_current
from measurements.kinds.base import Measured, Setup
from measurements.kinds.efficiency.leads import RESISTANCE, Lead, lead_of
from measurements.metrics.efficiency import LoadState, efficiency, nominal_load
from measurements.metrics.output_voltage import corrected_voltage
from measurements.metrics.uncertainty import ErrorSource, accuracy_uncertainty, with_errors

# Instrument quantity → the column that it reads.
MEASURED_COLUMNS = {
    "input_power": "input_power_w",
    "output_voltage": "output_voltage_v",
    "output_current": "output_current_a",
}


@dataclass(frozen=True, slots=True)
class Output:
    """One output voltage of the run.

    `input_power` [W], `voltage` at the receptacle [V], `current` [A], `power` at the receptacle
    [W] and `efficiency` [%] have a column for each of its rows, sorted by current, and a row for
    each set of `with_errors`, so that every metric is computed for all of them at once.
    `nominal` is the load [%] that each of the table's rows stands for, `full_load_a` the current
    [A] at 100 %; `assumed` says that it is the largest measured one because none is advertised.
    """

    voltage_v: float
    rows: IntArray
    input_power: FloatArray
    voltage: FloatArray
    current: FloatArray
    power: FloatArray
    efficiency: FloatArray
    full_load_a: float
    assumed: bool
    nominal: FloatArray

    @property
    def name(self) -> str:
        """The voltage as a person writes it: ``20 V``."""
        return f"{self.voltage_v:g} V"

    @property
    def loaded(self) -> NDArray[np.bool_]:
        """Which rows carry load; below half a per cent of full load there is no efficiency."""
        return np.asarray(self.nominal > 0)


@dataclass(frozen=True, slots=True)
class OutputResult:
    """What one output gave: load [%] → state, None where not reached, and its values.

    `usb_steps` says that its adaptive efficiency is that of 2, 1.5, 1 and 0.5 A.
    """

    output: Output
    states: Mapping[float, LoadState | None]
    values: tuple[Measured, ...]
    usb_steps: bool = False

    def value_of(self, metric: str) -> Measured | None:
        """The output's value of a metric that it has once, or None."""
        return next((value for value in self.values if value.metric == metric), None)


def outputs_of(table: Table, setup: Setup) -> tuple[Output, ...]:
    """Every output voltage of a checked table, lowest first."""
    # Rounded to the millivolt, so that 20 and 20.0000001 from a spreadsheet are one output.
    nominal_v = np.round(table["output_nominal_v"], 3)
    lead = lead_of(setup)
    return tuple(
        _output(
            table,
            setup,
            lead=lead,
            voltage_v=float(voltage),
            rows=np.flatnonzero(nominal_v == voltage),
        )
        for voltage in np.unique(nominal_v)
    )


def _output(table: Table, setup: Setup, *, lead: Lead, voltage_v: float, rows: IntArray) -> Output:
    by_current = rows[np.argsort(table["output_current_a"][rows], kind="stable")]
    values = {quantity: table[column][by_current] for quantity, column in MEASURED_COLUMNS.items()}
    sets = with_errors(
        {**values, RESISTANCE: np.array([lead.resistance_ohm])},
        (*_error_sources(values, setup), *_lead_error(lead)),
    )
    current = sets["output_current"]
    voltage = corrected_voltage(
        sets["output_voltage"], current=current, lead_resistance=sets[RESISTANCE]
    )
    power = voltage * current
    advertised = advertised_current(setup, voltage_v=voltage_v)
    full_load_a = advertised or float(values["output_current"][-1])
    return Output(
        voltage_v=voltage_v,
        rows=by_current,
        input_power=sets["input_power"],
        voltage=voltage,
        current=current,
        power=power,
        efficiency=efficiency(sets["input_power"], output_power=power),
        full_load_a=full_load_a,
        assumed=advertised is None,
        nominal=nominal_load(values["output_current"], full_load_current=full_load_a),
    )


def _error_sources(values: Mapping[str, FloatArray], setup: Setup) -> tuple[ErrorSource, ...]:
    """The error of the first instrument named for each quantity."""
    sources = []
    for quantity, readings in values.items():
        for accuracy in setup.accuracies_of(quantity)[:1]:
            uncertainty = accuracy_uncertainty(
                readings, reading_percent=accuracy.reading_percent, fixed=accuracy.fixed
            )
            sources.append(ErrorSource(quantity=quantity, uncertainty=uncertainty))
    return tuple(sources)


def _lead_error(lead: Lead) -> tuple[ErrorSource, ...]:
    if not lead.resistance_ohm:
        return ()
    return (ErrorSource(quantity=RESISTANCE, uncertainty=np.array([lead.uncertainty_ohm])),)
