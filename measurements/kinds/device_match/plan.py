"""The operating points that the method asks for."""

from __future__ import annotations

from measurements.kinds.base import PlannedRun, Setup

COLUMNS = ("device", "port", "protocol", "voltage_v", "current_a")


def plan(setup: Setup) -> tuple[PlannedRun, ...]:
    """One run with a row for each reference device on each port.

    Where the catalogue holds no device yet, each port has one row that leaves it to the bench.
    """
    devices: tuple[str | None, ...] = tuple(device.slug for device in setup.devices) or (None,)
    rows = tuple(
        (device, port.label, None, None, None) for device in devices for port in setup.adapter.ports
    )
    if not rows:
        return ()
    return (
        PlannedRun(
            title="Power drawn by reference devices",
            fields={},
            columns=COLUMNS,
            rows=rows,
            note=(
                "Each device nearly empty, its screen off; write the reading once the power "
                "stands still. A pair that was not tried stays blank. Three devices or more make "
                "a match rate that can be compared."
            ),
        ),
    )
