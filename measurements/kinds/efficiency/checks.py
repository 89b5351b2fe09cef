"""What keeps an efficiency table from being computed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import FloatArray, Problem, Table
from measurements.kinds.advertised import advertised_current
from measurements.kinds.base import Setup
from measurements.kinds.efficiency.leads import Lead, lead_of
from measurements.metrics.efficiency import nominal_load
from measurements.metrics.output_voltage import corrected_voltage

_REQUIRED = ("output_nominal_v", "input_power_w", "output_voltage_v", "output_current_a")

# A range of programmable voltages in steps of 0.1 V is under 200 outputs; more of them is a
# column of measured voltages in the wrong place.
_MOST_OUTPUTS = 200

# Ten times the advertised current is not an overload but amperes for milliamperes.
_CURRENT_SLIP = 10.0

# Below a milliampere no output of a power adapter is under load.
_LEAST_CURRENT_A = 0.001

# A voltage this far from its nominal value is a row of another output or a wrong unit: USB
# Power Delivery allows ±5 %, and the whole programmable range has its own nominal value.
_VOLTAGE_SHARE = 0.25


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Every reason why efficiencies cannot be computed from the table, by row and column."""
    if not len(table):
        return (Problem("The table has no rows; give at least one operating point."),)
    unreadable = tuple(_unreadable(table))
    if unreadable:
        return unreadable
    lead = lead_of(setup)
    # A wrong sign makes the efficiency wrong too; one message for one slip is enough.
    return (
        tuple(_impossible_lead(lead))
        or tuple(_impossible(table))
        or (*_energy_gained(table, lead.resistance_ohm), *_load(table, setup))
    )


def _impossible_lead(lead: Lead) -> Iterator[Problem]:
    if not (np.isfinite(lead.resistance_ohm) and lead.resistance_ohm >= 0):
        yield Problem(
            f"A lead resistance of {lead.resistance_ohm:g} Ω is not possible; "
            "give the loop resistance in Ω, or leave the field empty.",
            column="lead_resistance_ohm",
        )
    if not 0 <= lead.accuracy_percent <= 100:
        yield Problem(
            f"An accuracy of {lead.accuracy_percent:g} % of the lead resistance is not possible; "
            "give a number from 0 to 100, or leave the field empty.",
            column="lead_accuracy_percent",
        )


def _unreadable(table: Table) -> Iterator[Problem]:
    for column in _REQUIRED:
        if column not in table:
            yield Problem(
                f"The column {column} is missing; an efficiency table needs it.", column=column
            )
            continue
        for row in np.flatnonzero(~np.isfinite(table[column])):
            yield Problem(
                "The cell holds no finite number; fill it in or delete the row.",
                row=int(table.rows[row]),
                column=column,
            )


def _impossible(table: Table) -> Iterator[Problem]:
    nominal, voltage = table["output_nominal_v"], table["output_voltage_v"]
    yield from _cells(
        table,
        "output_nominal_v",
        np.round(nominal, 3) <= 0,
        "A nominal output voltage of {value:g} V is not possible; give the voltage that was "
        "requested from the port.",
    )
    yield from _cells(
        table,
        "input_power_w",
        table["input_power_w"] <= 0,
        "An input power of {value:g} W is not possible while the adapter runs; check the sign "
        "and the wiring of the power meter.",
    )
    yield from _cells(
        table,
        "output_current_a",
        table["output_current_a"] < 0,
        "A negative output current ({value:g} A) would flow into the adapter; check the sign.",
    )
    wrong_row = (nominal > 0) & (np.abs(voltage - nominal) > _VOLTAGE_SHARE * nominal)
    for row in np.flatnonzero(wrong_row):
        yield Problem(
            f"The measured {voltage[row]:g} V is more than 25 % away from the nominal "
            f"{nominal[row]:g} V; check the unit and whether the row belongs to this output.",
            row=int(table.rows[row]),
            column="output_voltage_v",
        )


def _energy_gained(table: Table, resistance: float) -> Iterator[Problem]:
    current = table["output_current_a"]
    voltage = corrected_voltage(
        table["output_voltage_v"], current=current, lead_resistance=resistance
    )
    output_power, input_power = voltage * current, table["input_power_w"]
    for row in np.flatnonzero(output_power > input_power):
        yield Problem(
            f"The output power {output_power[row]:.4g} W is above the input power "
            f"{input_power[row]:.4g} W, an efficiency over 100 %; check the units, the order "
            "of the rows and the lead resistance.",
            row=int(table.rows[row]),
            column="input_power_w",
        )


def _load(table: Table, setup: Setup) -> Iterator[Problem]:
    nominal = np.round(table["output_nominal_v"], 3)
    voltages = np.unique(nominal)
    if len(voltages) > _MOST_OUTPUTS:
        yield Problem(
            f"The column holds {len(voltages)} different nominal voltages; give the voltage that "
            "was requested from the port, not the measured one.",
            column="output_nominal_v",
        )
        return
    for voltage in voltages:
        largest = float(np.max(table["output_current_a"][nominal == voltage]))
        full_load = advertised_current(setup, voltage_v=float(voltage)) or largest
        if (
            full_load < _LEAST_CURRENT_A
            or nominal_load(np.array([largest]), full_load_current=full_load) <= 0
        ):
            yield Problem(
                f"At {voltage:g} V no row carries an output current worth the name "
                f"({largest:g} A at most); give at least one operating point under load, or "
                "upload the file as a no-load run.",
                column="output_current_a",
            )
        elif largest > _CURRENT_SLIP * full_load:
            yield Problem(
                f"At {voltage:g} V the current reaches {largest:g} A, {largest / full_load:.0f} "
                f"times the advertised {full_load:g} A; check the unit of the column, or the "
                "advertised current in the catalogue.",
                column="output_current_a",
            )


def _cells(table: Table, column: str, wrong: NDArray[np.bool_], sentence: str) -> Iterator[Problem]:
    values: FloatArray = table[column]
    for row in np.flatnonzero(wrong):
        yield Problem(sentence.format(value=values[row]), row=int(table.rows[row]), column=column)
