"""What keeps a thermal table from being computed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from measurements.intake.columns import Problem, Table
from measurements.kinds.base import Setup
from measurements.kinds.thermal.power import POWER_COLUMN
from measurements.kinds.thermal.sensors import (
    AMBIENT_COLUMN,
    MATERIALS,
    sensor_names,
    stated_materials,
)

# A meter without load may read a little below zero.
_MOST_NEGATIVE_W = -0.5


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Every reason why the record cannot be computed, by row and column."""
    if not len(table):
        return (Problem("The table has no rows; give the readings of a soak."),)
    return (
        *_time(table),
        *_readings(table),
        *_output_power(table),
        *_materials(table, setup),
    )


def _time(table: Table) -> Iterator[Problem]:
    if "time_s" not in table:
        yield Problem("The column time_s is missing; a thermal record needs it.", column="time_s")
        return
    time = table["time_s"]
    unreadable = ~np.isfinite(time)
    for row in np.flatnonzero(unreadable):
        yield Problem(
            "The cell holds no finite time; fill it in or delete the row.",
            row=int(table.rows[row]),
            column="time_s",
        )
    if np.any(unreadable):
        return
    for row in np.flatnonzero(np.diff(time) <= 0) + 1:
        yield Problem(
            f"The time {time[row]:g} s does not lie after {time[row - 1]:g} s of the row before; "
            "sort the rows by time and give each moment once.",
            row=int(table.rows[row]),
            column="time_s",
        )


def _readings(table: Table) -> Iterator[Problem]:
    names = sensor_names(table)
    if not names:
        yield Problem(
            "No temperature column was found beside the ambient; give at least one, headed by "
            "the sensor's place and its unit, such as top_c."
        )
    columns = [f"{name}_c" for name in names]
    for column in columns:
        if np.all(np.isnan(table[column])):
            yield Problem(
                "The sensor has no reading at all; fill in the column or delete it.",
                column=column,
            )
    for column in (*columns, AMBIENT_COLUMN):
        # A blank is NaN and allowed; an infinite temperature is an instrument's overrange.
        for row in np.flatnonzero(np.isinf(table[column])) if column in table else ():
            yield Problem(
                "The cell holds no finite temperature; leave it blank if the reading failed.",
                row=int(table.rows[row]),
                column=column,
            )


def _output_power(table: Table) -> Iterator[Problem]:
    if POWER_COLUMN not in table:
        return
    power = table[POWER_COLUMN]
    if np.all(np.isnan(power)):
        yield Problem(
            "The column holds no reading at all; fill it in or delete it.", column=POWER_COLUMN
        )
    for row in np.flatnonzero(np.isinf(power)):
        yield Problem(
            "The cell holds no finite power; leave it blank if the reading failed.",
            row=int(table.rows[row]),
            column=POWER_COLUMN,
        )
    for row in np.flatnonzero(np.isfinite(power) & (power < _MOST_NEGATIVE_W)):
        yield Problem(
            f"An output power of {power[row]:g} W would flow into the adapter; check the sign.",
            row=int(table.rows[row]),
            column=POWER_COLUMN,
        )


def _materials(table: Table, setup: Setup) -> Iterator[Problem]:
    known = ", ".join(MATERIALS)
    stated = setup.fields.get("materials")
    if stated is not None and not isinstance(stated, Mapping):
        yield Problem(
            'Materials must be a JSON object from sensor to material, such as {"top": "metal"}.',
            column="materials",
        )
    names = sensor_names(table)
    by_sensor = stated_materials(table, setup)
    for sensor, material in by_sensor.items():
        if sensor not in names:
            yield Problem(
                f"Materials name a sensor “{sensor}” that the table does not have; "
                f"its sensors are: {', '.join(names) or 'none'}.",
                column="materials",
            )
        if material not in MATERIALS:
            yield Problem(
                f"“{material}” is no material with a touch limit (sensor “{sensor}”); "
                f"choose one of {known}.",
                column="materials",
            )
    if setup.adapter.enclosure not in MATERIALS and set(names) - set(by_sensor):
        yield Problem(
            f"The catalogue gives the enclosure as “{setup.adapter.enclosure}”, which has no touch "
            f"limit; correct it to one of {known}, or give every sensor's material.",
            column="materials",
        )
