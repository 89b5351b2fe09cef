"""What keeps a table of devices on ports from being computed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measurements.intake.columns import Problem, Table
from measurements.kinds.base import Setup
from measurements.kinds.port_labels import port_label

# Well above 48 V and 5 A of USB Power Delivery, with room for other modes: more is a wrong unit.
# The project's own bounds.
_HIGHEST = {"voltage_v": (60.0, "V"), "current_a": (20.0, "A")}

_SHOWN_DEVICES = 5


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Every reason why the powers cannot be computed from the table, by row and column."""
    if not len(table):
        return (Problem("The table has no rows; give one row for each device on each port."),)
    missing = tuple(_missing(table))
    if missing:
        return missing
    if not setup.adapter.ports:
        return (Problem("The catalogue lists no ports for this adapter; add its ports first."),)
    if not setup.devices:
        return (
            Problem(
                "The catalogue holds no reference device yet; an editor adds the devices that "
                "adapters are tried with first."
            ),
        )
    return (*_numbers(table), *_labels(table, setup), *_repeated(table, setup))


def _missing(table: Table) -> Iterator[Problem]:
    for column in ("device", "port"):
        if column not in table.texts:
            yield Problem(f"The column {column} is missing; give it as text.", column=column)
    for column in _HIGHEST:
        if column not in table.columns:
            yield Problem(f"The column {column} is missing; give it as numbers.", column=column)


def _numbers(table: Table) -> Iterator[Problem]:
    for column, (highest, unit) in _HIGHEST.items():
        for row, value in zip(table.rows, table[column], strict=True):
            detail = ""
            if not np.isfinite(value):
                detail = "The cell holds no finite number; fill it in or delete the row."
            elif value < 0:
                detail = f"{value:g} {unit} is negative; check the sign and the wiring."
            elif value > highest:
                detail = (
                    f"{value:g} {unit} is more than any USB output gives (up to {highest:g} "
                    f"{unit} is accepted); check the unit."
                )
            if detail:
                yield Problem(detail, row=int(row), column=column)


def _labels(table: Table, setup: Setup) -> Iterator[Problem]:
    ports = setup.adapter.ports
    known_ports = ", ".join(port.label for port in ports)
    texts = zip(table.rows, table.texts["device"], table.texts["port"], strict=True)
    for row, device, port in texts:
        if setup.device(device) is None:
            what = f"“{device}” is no reference device" if device.strip() else "The device is blank"
            yield Problem(
                f"{what}; write the name or slug of one that the catalogue holds, such as "
                f"{_some_devices(setup)}.",
                row=int(row),
                column="device",
            )
        if port_label(port, ports=ports) is None:
            what = f"“{port}” is no port of this adapter" if port.strip() else "The port is blank"
            yield Problem(f"{what}; its ports are {known_ports}.", row=int(row), column="port")


def _some_devices(setup: Setup) -> str:
    shown = ", ".join(device.name for device in setup.devices[:_SHOWN_DEVICES])
    more = len(setup.devices) - _SHOWN_DEVICES
    return f"{shown} and {more} more" if more > 0 else shown


def _repeated(table: Table, setup: Setup) -> Iterator[Problem]:
    first: dict[tuple[str, str], int] = {}
    texts = zip(table.rows, table.texts["device"], table.texts["port"], strict=True)
    for row, written, port in texts:
        device = setup.device(written)
        label = port_label(port, ports=setup.adapter.ports)
        if device is None or label is None:
            continue
        pair = (device.slug, label)
        if pair in first:
            yield Problem(
                f"{device.name} on port {label} stands in line {first[pair]} already; keep one "
                "row for each device on each port.",
                row=int(row),
                column="port",
            )
        first.setdefault(pair, int(row))
