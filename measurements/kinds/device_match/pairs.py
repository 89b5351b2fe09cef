"""One device on one port: what it drew, as a reading and as the fact kept with a run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Setup
from measurements.kinds.port_labels import port_label
from measurements.metrics.uncertainty import ErrorSource, accuracy_uncertainty, propagate

# Instrument quantity → the column that it reads.
MEASURED_COLUMNS = {"output_voltage": "voltage_v", "output_current": "current_a"}


@dataclass(frozen=True, slots=True)
class Pair:
    """A device, by its slug, on a port: [V], [A] and [W] once its power stood still.

    `protocol` is what the bench saw them agree on, empty where nobody looked.
    """

    device: str
    port: str
    protocol: str
    voltage_v: float
    current_a: float
    power_w: float

    def as_json(self) -> dict[str, str | float]:
        """The fact as it is kept with a run."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Tried:
    """A pair, the device's name, and the standard uncertainty [W] of its power."""

    pair: Pair
    name: str
    standard_uncertainty: float

    @property
    def expanded(self) -> float:
        """U of the power [W], k = 2."""
        return 2 * self.standard_uncertainty


def pairs_from_facts(facts: Mapping[str, Any]) -> tuple[Pair, ...]:
    """The pairs of the facts that a run of this kind keeps; none where it has no such facts."""
    return tuple(Pair(**item) for item in facts.get("pairs", ()))


def tried_pairs(table: Table, setup: Setup) -> tuple[Tried, ...]:
    """Every row of a checked table, in the order of the file."""
    protocols = table.texts.get("protocol", ("",) * len(table))
    tried = []
    for row, protocol in enumerate(protocols):
        device = setup.device(table.texts["device"][row])
        port = port_label(table.texts["port"][row], ports=setup.adapter.ports)
        if device is None or port is None:
            continue
        values = {
            quantity: table[column][row : row + 1] for quantity, column in MEASURED_COLUMNS.items()
        }
        pair = Pair(
            device=device.slug,
            port=port,
            protocol=protocol.strip(),
            voltage_v=float(values["output_voltage"][0]),
            current_a=float(values["output_current"][0]),
            power_w=_power(values),
        )
        uncertainty = propagate(_power, values=values, sources=_sources(values, setup))
        tried.append(Tried(pair=pair, name=device.name, standard_uncertainty=uncertainty))
    return tuple(tried)


def _power(values: Mapping[str, FloatArray]) -> float:
    return float(np.sum(values["output_voltage"] * values["output_current"]))


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
