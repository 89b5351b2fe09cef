"""What keeps a charging log from being computed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measurements.intake.columns import Problem, Table
from measurements.kinds.base import Setup
from measurements.kinds.charge.record import CHARGING_W, charging_of, record_of
from measurements.metrics.integration import integral

# Below and above these, the column of time is in another unit than it says.
SHORTEST_LOG_S = 10.0
LONGEST_LOG_S = 31 * 24 * 3600.0


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Every reason why the log cannot be computed, by row and column."""
    problems = [*_device(setup), *_cells(table)]
    if problems:
        return tuple(problems)
    if problems := [*_time(table), *_direction(table)]:
        return tuple(problems)
    return tuple(_input(table))


def _device(setup: Setup) -> Iterator[Problem]:
    name = str(setup.fields.get("device") or "")
    if not name:
        yield Problem(
            "No device is named; give the reference device that was charged.", column="device"
        )
    elif setup.device(name) is None:
        known = ", ".join(device.slug for device in setup.devices[:5]) or "none yet"
        yield Problem(
            f"“{name}” is no reference device of the catalogue (known: {known}); choose one, or "
            "add the device to the catalogue first.",
            column="device",
        )


def _cells(table: Table) -> Iterator[Problem]:
    missing = [name for name in ("time_s", "voltage_v", "current_a") if name not in table]
    for name in missing:
        yield Problem(f"The column {name} is missing; a charging log needs it.", column=name)
    if missing:
        return
    if len(table) < 2:
        yield Problem("The file holds fewer than two readings; log the whole charge.")
    for name, quantity in (("time_s", "time"), ("voltage_v", "voltage"), ("current_a", "current")):
        for index in np.flatnonzero(~np.isfinite(table[name])):
            yield Problem(
                f"The cell holds no finite {quantity}; fill it in or delete the row.",
                row=int(table.rows[index]),
                column=name,
            )
    for name in ("battery_percent", "output_power_w", "input_power_w"):
        # A blank is NaN and allowed; an infinite reading is an instrument's overrange.
        for index in np.flatnonzero(np.isinf(table[name])) if name in table else ():
            yield Problem(
                "The cell holds no finite number; leave it blank if the reading failed.",
                row=int(table.rows[index]),
                column=name,
            )


def _time(table: Table) -> Iterator[Problem]:
    time = table["time_s"]
    backward = np.flatnonzero(time[1:] <= time[:-1]) + 1
    for index in backward:
        yield Problem(
            f"The time {time[index]:g} s does not lie after {time[index - 1]:g} s of the row "
            "before; sort the rows by time and give each moment once.",
            row=int(table.rows[index]),
            column="time_s",
        )
    # In halves, so that the difference of two huge numbers is still a number.
    half = float(time[-1] / 2 - time[0] / 2)
    if backward.size == 0 and not SHORTEST_LOG_S / 2 <= half <= LONGEST_LOG_S / 2:
        yield Problem(
            f"The log lasts {2 * half:g} s; a charge takes between {SHORTEST_LOG_S:g} s and 31 "
            "days. Check the unit of the time column.",
            column="time_s",
        )


def _direction(table: Table) -> Iterator[Problem]:
    current = table["current_a"]
    if float(np.max(current)) <= 0 and float(np.min(current)) < 0:
        yield Problem(
            "Every current is negative or zero: the meter counts the other direction as positive. "
            "Turn its leads, or change the sign of the column, and upload the file again.",
            column="current_a",
        )
    elif charging_of(table["voltage_v"] * current).size < 2:
        yield Problem(
            f"Fewer than two readings lie above {CHARGING_W:g} W, so that nothing was charged; "
            "check the units of voltage and current.",
            column="current_a",
        )


def _input(table: Table) -> Iterator[Problem]:
    if "input_power_w" not in table:
        return
    record = record_of(table)
    power = table["input_power_w"]
    both = record.window & np.isfinite(power[:-1]) & np.isfinite(power[1:])
    drawn = integral(record.time_s, y=power, joined=both)
    given = integral(record.time_s, y=record.power_w, joined=both)
    if given > max(drawn, 0.0):
        yield Problem(
            f"The device received {given / 3600:.4g} Wh while the adapter drew "
            f"{drawn / 3600:.4g} Wh from the mains, which is impossible; check the unit and the "
            "direction of the input power.",
            column="input_power_w",
        )
