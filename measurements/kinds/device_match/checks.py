"""What keeps a table of devices on ports from being computed."""

from __future__ import annotations

from collections.abc import Iterator

from measurements.intake.columns import Problem, Table
from measurements.kinds.base import Setup
from measurements.kinds.port_labels import port_label
from measurements.kinds.readings import port_readings

_SHOWN_DEVICES = 5


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Every reason why the powers cannot be computed from the table, by row and column."""
    if not len(table):
        return (Problem("The table has no rows; give one row for each device on each port."),)
    if not setup.adapter.ports:
        return (Problem("The catalogue lists no ports for this adapter; add its ports first."),)
    if not setup.devices:
        return (
            Problem(
                "The catalogue holds no reference device yet; an editor adds the devices that "
                "adapters are tried with first."
            ),
        )
    return (*port_readings(table), *_labels(table, setup), *_repeated(table, setup))


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
