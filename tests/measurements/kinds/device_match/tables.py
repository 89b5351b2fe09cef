"""Tables and setups of a device-match run, written as (device, port, V, A[, protocol])."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measurements.intake.columns import Table
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    Cell,
    Condition,
    DeviceFacts,
    Measured,
    Outcome,
    PortFacts,
    Setup,
)
from measurements.kinds.device_match import KIND

VOLTMETER = Accuracy("Meter V", "output_voltage", reading_percent=0.0, fixed=0.1)
AMMETER = Accuracy("Meter I", "output_current", reading_percent=1.0, fixed=0.0)
INSTRUMENTS = (VOLTMETER, AMMETER)

# Invented devices.
SLATE = DeviceFacts("slate-11", "Slate 11", max_power_w=45.0)
FOLIO = DeviceFacts("folio-16", "Folio 16", max_power_w=100.0)
PEBBLE = DeviceFacts("pebble", "Pebble")
DEVICES = (SLATE, FOLIO, PEBBLE)

Row = tuple[str, str, float, float]

ROWS: tuple[Row, ...] = (
    ("slate-11", "C1", 15.0, 3.0),
    ("slate-11", "C2", 9.0, 2.0),
    ("folio-16", "C1", 20.0, 4.5),
    ("folio-16", "C2", 20.0, 1.5),
    ("pebble", "C1", 5.0, 1.0),
    ("pebble", "C2", 5.0, 0.8),
)


def table(rows: Sequence[Row], *, protocols: Sequence[str] | None = None) -> Table:
    """The file's first data row is line 2."""
    texts = {"device": tuple(row[0] for row in rows), "port": tuple(row[1] for row in rows)}
    if protocols is not None:
        texts["protocol"] = tuple(protocols)
    return Table(
        columns={
            "voltage_v": np.array([row[2] for row in rows], dtype=np.float64),
            "current_a": np.array([row[3] for row in rows], dtype=np.float64),
        },
        rows=np.arange(2, len(rows) + 2),
        texts=texts,
    )


def setup(
    ports: Sequence[str] = ("C1", "C2"),
    *,
    devices: Sequence[DeviceFacts] = DEVICES,
    accuracies: Sequence[Accuracy] = INSTRUMENTS,
) -> Setup:
    return Setup(
        adapter=AdapterFacts(
            rated_power_w=100.0, ports=tuple(PortFacts(label, "usb-c") for label in ports)
        ),
        accuracies=tuple(accuracies),
        devices=tuple(devices),
    )


def measured(rows: Table, given: Setup) -> Outcome:
    """The outcome of a table that the check lets through."""
    assert KIND.check(rows, given) == ()
    return KIND.measure(rows, given)


def value(outcome: Outcome, device: str) -> Measured:
    """The power of a device, which the run has once."""
    (found,) = (item for item in outcome.values if item.condition == Condition(device=device))
    assert found.metric == "matched-power"
    return found


def flags_of(outcome: Outcome) -> dict[str, str]:
    """Code → detail; a code may appear once only."""
    codes = [flag.code for flag in outcome.flags]
    assert len(codes) == len(set(codes))
    return {flag.code: flag.detail for flag in outcome.flags}


def cell(outcome: Outcome, row: str, column: str) -> Cell:
    (matrix,) = outcome.details.matrices
    return matrix.cells[matrix.rows.index(row)][matrix.columns.index(column)]


def power(watts: float, device: str, *, u: float = 0.0) -> Measured:
    """A standing power of an adapter."""
    return Measured("matched-power", watts, u, Condition(device=device))
