"""Standby power, yearly energy and verdicts from a no-load record."""

from __future__ import annotations

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Condition, Flag, Measured, Outcome, Setup
from measurements.kinds.judging import instrument_deviations, judge, method_deviations
from measurements.kinds.no_load.figure import figure
from measurements.kinds.no_load.record import Record, record_of
from measurements.kinds.no_load.remarks import remarks
from measurements.metrics.limits import Limit, limits_for
from measurements.metrics.uncertainty import accuracy_uncertainty, root_sum_square

HOURS_PER_YEAR = 8760
KILOWATT_HOURS_PER_WATT_YEAR = HOURS_PER_YEAR / 1000


def measure(table: Table, setup: Setup) -> Outcome:
    """Everything that a checked no-load table gives."""
    record = record_of(table)
    instrument_w = _instrument_uncertainty(record, setup=setup)
    flags = remarks(record, table=table, setup=setup, instrument_w=instrument_w)
    power = Measured(
        metric="no-load-power",
        value=record.mean_w,
        standard_uncertainty=root_sum_square([instrument_w, record.scatter_w]),
        condition=Condition(line=setup.line),
        apart=_apart(flags),
    )
    energy = Measured(
        metric="no-load-energy",
        value=power.value * KILOWATT_HOURS_PER_WATT_YEAR,
        standard_uncertainty=power.standard_uncertainty * KILOWATT_HOURS_PER_WATT_YEAR,
        condition=power.condition,
        apart=power.apart,
    )
    departures = (
        *(flag.detail for flag in flags if flag.code in _DEPARTURES),
        *instrument_deviations(setup, quantities=("input_power",)),
    )

    def deviations(limit: Limit) -> tuple[str, ...]:
        return (*method_deviations(limit, setup=setup), *departures)

    adapter = setup.adapter
    limits = limits_for(adapter.rated_power_w, supply=adapter.supply)
    return Outcome(
        values=(power, energy),
        flags=flags,
        verdicts=judge(power, limits, deviations=deviations),
        trace=_trace(record, table=table),
        plot=figure(record),
    )


# The remarks that are departures from the sampling method, and so qualify a verdict.
_DEPARTURES = frozenset(
    {"short-record", "single-reading", "few-readings", "no-time", "unstable", "coarse-sampling"}
)


def _instrument_uncertainty(record: Record, *, setup: Setup) -> float:
    """Standard uncertainty [W] of the first named power meter at the mean; 0 without one."""
    for accuracy in setup.accuracies_of("input_power"):
        return float(
            accuracy_uncertainty(
                np.array([record.mean_w]),
                reading_percent=accuracy.reading_percent,
                fixed=accuracy.fixed,
            )[0]
        )
    return 0.0


def _apart(flags: tuple[Flag, ...]) -> str:
    return next((flag.detail for flag in flags if flag.code == "unstable"), "")


def _trace(record: Record, *, table: Table) -> dict[str, FloatArray]:
    if record.time_s is None:
        trace = {"reading": np.arange(1.0, len(table) + 1)}
    else:
        trace = {"time_min": record.time_s / 60}
    trace["input_power_w"] = record.power_w
    for name in ("input_voltage_v", "input_current_a", "power_factor"):
        if name in table:
            trace[name] = table[name]
    return trace
