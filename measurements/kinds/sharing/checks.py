"""What keeps a table of shared power from being computed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measurements.intake.columns import Problem, Table
from measurements.kinds.base import Setup
from measurements.kinds.port_labels import port_label
from measurements.kinds.readings import port_readings
from measurements.kinds.sharing.combinations import combinations_of, rows_by_combination
from measurements.kinds.sharing.labels import (
    catalogue_labels,
    combination_name,
    split_combination,
)
from measurements.kinds.slips import no_output_voltage


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Every reason why shared power cannot be computed from the table, by row and column."""
    if not len(table):
        return (Problem("The table has no rows; give one row for each port in use."),)
    if not setup.adapter.ports:
        return (
            Problem(
                "The catalogue lists no ports for this adapter, so that a combination cannot be "
                "read; add its ports first."
            ),
        )
    problems = (*port_readings(table), *_input_power(table), *_labels(table, setup))
    # Sums over wrong cells would only repeat what is wrong with the cells.
    return problems or (
        *_repeated(table, setup),
        *_energy_gained(table, setup),
        *no_output_voltage(table["voltage_v"]),
    )


def _input_power(table: Table) -> Iterator[Problem]:
    for row, value in zip(table.rows, table.columns.get("input_power_w", ()), strict=False):
        # A blank is NaN: the input may stand on one row of the combination only.
        if np.isinf(value) or value <= 0:
            yield Problem(
                f"An input power of {value:g} W is not possible while the adapter runs; check "
                "the sign and the wiring of the power meter, or leave the cell blank.",
                row=int(row),
                column="input_power_w",
            )


def _labels(table: Table, setup: Setup) -> Iterator[Problem]:
    ports = setup.adapter.ports
    known = ", ".join(port.label for port in ports)
    texts = zip(table.rows, table.texts["combination"], table.texts["port"], strict=True)
    for row, combination, port in texts:
        labels = catalogue_labels(combination, ports=ports)
        if labels is None:
            yield Problem(
                _wrong_combination(combination, setup=setup),
                row=int(row),
                column="combination",
            )
        label = port_label(port, ports=ports)
        if label is None:
            yield Problem(
                f"“{port}” is no port of this adapter; its ports are {known}."
                if port.strip()
                else f"The port is blank; write one of {known}.",
                row=int(row),
                column="port",
            )
        elif labels is not None and label not in labels:
            yield Problem(
                f"Port {label} is not in the combination {combination_name(labels)}; correct one "
                "of the two cells.",
                row=int(row),
                column="port",
            )


def _wrong_combination(text: str, *, setup: Setup) -> str:
    """What is wrong with a combination that cannot be read."""
    ports = setup.adapter.ports
    parts = split_combination(text)
    known = ", ".join(port.label for port in ports)
    if not all(parts):
        return (
            f"The combination “{text}” names a port that is blank; write every port in use, joined "
            f"by +, from {known}."
        )
    unknown = [part for part in parts if port_label(part, ports=ports) is None]
    if unknown:
        return (
            f"The combination “{text}” names “{unknown[0]}”, which is no port of this adapter; "
            f"join labels by +, from {known}."
        )
    return f"The combination “{text}” names a port twice; each port can be in use once."


def _repeated(table: Table, setup: Setup) -> Iterator[Problem]:
    for ports, rows in rows_by_combination(table, setup).items():
        first: dict[str | None, int] = {}
        for row in rows:
            label = port_label(table.texts["port"][row], ports=setup.adapter.ports)
            line = int(table.rows[row])
            if label in first:
                yield Problem(
                    f"Port {label} of {combination_name(ports)} stands in line {first[label]} "
                    "already; keep one row for each port of a combination.",
                    row=line,
                    column="port",
                )
            first.setdefault(label, line)


def _energy_gained(table: Table, setup: Setup) -> Iterator[Problem]:
    first_rows = [rows[0] for rows in rows_by_combination(table, setup).values()]
    for row, combination in zip(first_rows, combinations_of(table, setup), strict=True):
        if combination.input_w is not None and combination.measured_w > combination.input_w:
            yield Problem(
                f"The ports of {combination.name} give {combination.measured_w:.4g} W together, "
                f"more than the input power of {combination.input_w:.4g} W; check the units and "
                "which row the input power belongs to.",
                row=int(table.rows[row]),
                column="input_power_w",
            )
