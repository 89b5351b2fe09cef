"""The rows of a checked table gathered by combination: powers, totals, conversion efficiency."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from measurements.intake.columns import FloatArray, IntArray, Table
from measurements.kinds.base import Setup
from measurements.kinds.port_labels import port_label
from measurements.kinds.sharing.labels import (
    catalogue_labels,
    combination_name,
)
from measurements.metrics.uncertainty import (
    ErrorSource,
    accuracy_uncertainty,
    propagate,
    root_sum_square,
    standard_error,
)

# Instrument quantity → the column that it reads.
MEASURED_COLUMNS = {
    "output_voltage": "voltage_v",
    "output_current": "current_a",
    "input_power": "input_power_w",
}


@dataclass(frozen=True, slots=True)
class Amount:
    """A value and its standard uncertainty (k = 1), both in the same unit."""

    value: float
    standard_uncertainty: float

    @property
    def expanded(self) -> float:
        """U, k = 2, in the unit of the value."""
        return 2 * self.standard_uncertainty


@dataclass(frozen=True, slots=True)
class Reading:
    """One port while a combination is in use: [V], [A] and its power [W]."""

    port: str
    voltage_v: float
    current_a: float
    power: Amount


@dataclass(frozen=True, slots=True)
class Combination:
    """Ports in use at the same time, in the order in which they were plugged in.

    `readings` are by port; `measured_w` is the sum of their powers [W], and `total` the same
    when no port is missing, else None. `input_w` [W] and `conversion` [%] are None where no
    input power was given.
    """

    ports: tuple[str, ...]
    readings: Mapping[str, Reading]
    measured_w: float
    total: Amount | None
    input_w: float | None
    conversion: Amount | None

    @property
    def name(self) -> str:
        """As a row of the file names it: ``C1+C2``."""
        return combination_name(self.ports)

    @property
    def missing(self) -> tuple[str, ...]:
        """Ports in use for which the table has no row."""
        return tuple(port for port in self.ports if port not in self.readings)

    def is_above(self, rated_w: float) -> bool:
        """Whether its total exceeds a rated power [W] by more than U."""
        return self.total is not None and self.total.value > rated_w + self.total.expanded


def rows_by_combination(table: Table, setup: Setup) -> Mapping[tuple[str, ...], IntArray]:
    """Ports in plug order → their rows, in the order of the file, for rows with known labels."""
    gathered: dict[tuple[str, ...], list[int]] = {}
    for row, text in enumerate(table.texts["combination"]):
        labels = catalogue_labels(text, ports=setup.adapter.ports)
        if labels is not None:
            gathered.setdefault(labels, []).append(row)
    return {labels: np.array(rows, dtype=np.int64) for labels, rows in gathered.items()}


def combinations_of(table: Table, setup: Setup) -> tuple[Combination, ...]:
    """Every combination of a checked table, in the order of the file."""
    return tuple(
        _combination(table, setup, ports=ports, rows=rows)
        for ports, rows in rows_by_combination(table, setup).items()
    )


def _combination(
    table: Table, setup: Setup, *, ports: tuple[str, ...], rows: IntArray
) -> Combination:
    values = {
        quantity: table[column][rows]
        for quantity, column in MEASURED_COLUMNS.items()
        if quantity != "input_power"
    }
    inputs = table["input_power_w"][rows] if "input_power_w" in table else np.array([])
    readings = {}
    for place, row in enumerate(rows):
        label = port_label(table.texts["port"][row], ports=setup.adapter.ports)
        if label is not None:
            own = {quantity: points[place : place + 1] for quantity, points in values.items()}
            readings[label] = Reading(
                port=label,
                voltage_v=float(own["output_voltage"][0]),
                current_a=float(own["output_current"][0]),
                power=_output(own, setup),
            )
    total = _output(values, setup)
    complete = len(readings) == len(ports)
    given = inputs[np.isfinite(inputs)]
    return Combination(
        ports=ports,
        readings=readings,
        measured_w=total.value,
        total=total if complete else None,
        input_w=float(np.mean(given)) if given.size else None,
        conversion=(
            _conversion({**values, "input_power": given}, setup)
            if complete and given.size
            else None
        ),
    )


def _output(values: Mapping[str, FloatArray], setup: Setup) -> Amount:
    """Output power [W] summed over the points; one instrument's error is common to all."""
    return Amount(
        _output_power(values),
        propagate(_output_power, values=values, sources=_sources(values, setup)),
    )


def _conversion(values: Mapping[str, FloatArray], setup: Setup) -> Amount:
    """Output over mean input power [%]; repeated readings of the input add their scatter."""
    efficiency = _efficiency(values)
    scatter = standard_error(values["input_power"]) / float(np.mean(values["input_power"]))
    return Amount(
        efficiency,
        root_sum_square(
            (
                propagate(_efficiency, values=values, sources=_sources(values, setup)),
                efficiency * scatter,
            )
        ),
    )


def _output_power(values: Mapping[str, FloatArray]) -> float:
    return float(np.sum(values["output_voltage"] * values["output_current"]))


def _efficiency(values: Mapping[str, FloatArray]) -> float:
    return 100 * _output_power(values) / float(np.mean(values["input_power"]))


def _sources(values: Mapping[str, FloatArray], setup: Setup) -> tuple[ErrorSource, ...]:
    """The error of the first instrument named for each quantity."""
    return tuple(
        ErrorSource(
            quantity=quantity,
            uncertainty=accuracy_uncertainty(
                readings, reading_percent=accuracy.reading_percent, fixed=accuracy.fixed
            ),
        )
        for quantity, readings in values.items()
        for accuracy in setup.accuracies_of(quantity)[:1]
    )
