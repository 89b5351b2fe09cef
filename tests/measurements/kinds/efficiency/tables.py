"""Tables and setups of an efficiency run, built from currents and losses."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from measurements.intake.columns import Table
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    AdvertisedOutput,
    Condition,
    Measured,
    Outcome,
    Plot,
    PortFacts,
    Setup,
    SupplyClass,
    Verdict,
)
from measurements.kinds.efficiency import KIND

POWER_METER = Accuracy("Meter P", "input_power", reading_percent=0.2, fixed=0.0)
VOLTMETER = Accuracy("Meter V", "output_voltage", reading_percent=0.0, fixed=0.01)
AMMETER = Accuracy("Meter I", "output_current", reading_percent=0.1, fixed=0.0)
INSTRUMENTS = (POWER_METER, VOLTMETER, AMMETER)


def points(
    currents: Sequence[float],
    *,
    losses: Sequence[float] | float = 2.5,
    nominal: float = 20.0,
    voltages: Sequence[float] | float | None = None,
    **more: Sequence[float],
) -> Table:
    """One output's rows; the file's first data row is line 2."""
    current = np.array(currents, dtype=np.float64)
    voltage = np.broadcast_to(nominal if voltages is None else voltages, current.shape)
    columns = {
        "output_nominal_v": np.full(len(current), nominal),
        "input_power_w": voltage * current + np.asarray(losses),
        "output_voltage_v": np.array(voltage, dtype=np.float64),
        "output_current_a": current,
        **{name: np.array(values, dtype=np.float64) for name, values in more.items()},
    }
    return Table(columns=columns, rows=np.arange(2, len(current) + 2))


def together(*tables: Table) -> Table:
    """Several outputs in one file."""
    columns = {
        name: np.concatenate([table[name] for table in tables]) for name in tables[0].columns
    }
    return Table(columns=columns, rows=np.arange(2, sum(len(table) for table in tables) + 2))


def changed(table: Table, column: str, *, index: int, value: float) -> Table:
    """The table with one cell replaced."""
    values = table[column].copy()
    values[index] = value
    return Table(columns={**table.columns, column: values}, rows=table.rows)


def setup(
    advertised: Sequence[tuple[str, float, float]] = (("", 20.0, 5.0),),
    *,
    scanned: Sequence[tuple[str, float, float]] = (),
    supply: SupplyClass = "single",
    ports: Sequence[str] = ("C1",),
    connector: str = "usb-c",
    port: str | None = None,
    accuracies: Sequence[Accuracy] = INSTRUMENTS,
    mains_v: float = 230.0,
    mains_hz: float = 50.0,
    ambient_c: float | None = 23.0,
    **fields: Any,
) -> Setup:
    facts = tuple(PortFacts(label, connector) for label in ports)
    return Setup(
        adapter=AdapterFacts(
            rated_power_w=100.0,
            supply=supply,
            ports=facts,
            advertised=(
                *(AdvertisedOutput(*item) for item in advertised),
                *(AdvertisedOutput(*item, source="profile") for item in scanned),
            ),
        ),
        line="high",
        mains_v=mains_v,
        mains_hz=mains_hz,
        ambient_c=ambient_c,
        port=next((item for item in facts if item.label == port), None),
        accuracies=tuple(accuracies),
        fields=fields,
    )


def measured(table: Table, given: Setup) -> Outcome:
    """The outcome of a table that the check lets through."""
    assert KIND.check(table, given) == ()
    return KIND.measure(table, given)


def value(outcome: Outcome, metric: str, **condition: Any) -> Measured:
    """The one value of a metric under a condition; voltage defaults to 20 V where it applies."""
    declared = next(item for item in KIND.metrics if item.key == metric)
    if "output_v" in declared.condition:
        condition.setdefault("output_v", 20.0)
    wanted = Condition(line="high", **condition)
    (found,) = (
        item for item in outcome.values if item.metric == metric and item.condition == wanted
    )
    return found


def verdict(
    outcome: Outcome, scheme: str, quantity: str = "average-efficiency", *, output_v: float = 20.0
) -> Verdict:
    """The one verdict of a scheme on a quantity of an output."""
    (found,) = (
        item
        for item in outcome.verdicts
        if (item.scheme, item.quantity, item.condition.output_v) == (scheme, quantity, output_v)
    )
    return found


def schemes_of(outcome: Outcome, quantity: str, *, output_v: float) -> set[str]:
    """Which schemes judge a quantity of an output."""
    return {
        item.scheme
        for item in outcome.verdicts
        if (item.quantity, item.condition.output_v) == (quantity, output_v)
    }


def plot_of(outcome: Outcome) -> Plot:
    """The run's chart, which every efficiency run has."""
    assert outcome.plot is not None
    return outcome.plot


def metrics_of(outcome: Outcome) -> set[str]:
    return {item.metric for item in outcome.values}


def flags_of(outcome: Outcome) -> dict[str, str]:
    """Code → detail; a code may appear once only."""
    codes = [flag.code for flag in outcome.flags]
    assert len(codes) == len(set(codes))
    return {flag.code: flag.detail for flag in outcome.flags}
