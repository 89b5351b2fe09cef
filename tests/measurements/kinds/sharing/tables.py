"""Tables and setups of a sharing run, written as (combination, port, V, A[, input W])."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measurements.intake.columns import Table
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    Cell,
    Condition,
    Listing,
    Measured,
    Outcome,
    PortFacts,
    Setup,
    SharingClaim,
)
from measurements.kinds.sharing import KIND

VOLTMETER = Accuracy("Meter V", "output_voltage", reading_percent=0.0, fixed=0.1)
AMMETER = Accuracy("Meter I", "output_current", reading_percent=1.0, fixed=0.0)
POWER_METER = Accuracy("Meter P", "input_power", reading_percent=0.5, fixed=0.0)
INSTRUMENTS = (VOLTMETER, AMMETER, POWER_METER)

Row = tuple[str, str, float, float]

PAIR: tuple[Row, ...] = (("C1+C2", "C1", 20.0, 3.25), ("C1+C2", "C2", 9.0, 2.0))


def table(rows: Sequence[Row], *, inputs: Sequence[float] | None = None) -> Table:
    """The file's first data row is line 2."""
    columns = {
        "voltage_v": np.array([row[2] for row in rows], dtype=np.float64),
        "current_a": np.array([row[3] for row in rows], dtype=np.float64),
    }
    if inputs is not None:
        columns["input_power_w"] = np.array(inputs, dtype=np.float64)
    return Table(
        columns=columns,
        rows=np.arange(2, len(rows) + 2),
        texts={
            "combination": tuple(row[0] for row in rows),
            "port": tuple(row[1] for row in rows),
        },
    )


def setup(
    ports: Sequence[tuple[str, float | None]] = (("C1", 65.0), ("C2", 30.0), ("A1", 18.0)),
    *,
    rated: float = 100.0,
    claims: Sequence[tuple[str, str, float]] = (),
    accuracies: Sequence[Accuracy] = INSTRUMENTS,
) -> Setup:
    return Setup(
        adapter=AdapterFacts(
            rated_power_w=rated,
            ports=tuple(PortFacts(label, "usb-c", power) for label, power in ports),
            sharing_claims=tuple(SharingClaim(*claim) for claim in claims),
        ),
        accuracies=tuple(accuracies),
    )


def measured(rows: Table, given: Setup) -> Outcome:
    """The outcome of a table that the check lets through."""
    assert KIND.check(rows, given) == ()
    return KIND.measure(rows, given)


def value(outcome: Outcome, metric: str) -> Measured:
    (found,) = (item for item in outcome.values if item.metric == metric)
    assert found.condition == Condition()
    return found


def flags_of(outcome: Outcome) -> dict[str, str]:
    """Code → detail; a code may appear once only."""
    codes = [flag.code for flag in outcome.flags]
    assert len(codes) == len(set(codes))
    return {flag.code: flag.detail for flag in outcome.flags}


def cell(outcome: Outcome, row: str, column: str) -> Cell:
    (matrix,) = outcome.details.matrices
    return matrix.cells[matrix.rows.index(row)][matrix.columns.index(column)]


def listing(outcome: Outcome, key: str) -> Listing:
    (found,) = (item for item in outcome.details.listings if item.key == key)
    return found
