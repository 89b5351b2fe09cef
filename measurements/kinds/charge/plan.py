"""The runs that the charging method asks for."""

from __future__ import annotations

from measurements.kinds.base import DeviceFacts, PlannedRun, PortFacts, Setup
from measurements.kinds.strongest import strongest_port

COLUMNS = ("time_s", "voltage_v", "current_a", "battery_percent", "input_power_w")

_FIRST = DeviceFacts(slug="", name="a reference device")


def plan(setup: Setup) -> tuple[PlannedRun, ...]:
    """One log of a whole charge for each reference device, at the strongest port.

    Where the catalogue holds no device yet, one log leaves it to the bench to name the first.
    """
    port = strongest_port(setup.adapter)
    return tuple(_planned(device, port=port) for device in setup.devices or (_FIRST,))


def _planned(device: DeviceFacts, *, port: PortFacts | None) -> PlannedRun:
    place = "" if port is None else f" on {port.label}"
    return PlannedRun(
        title=f"Charge of {device.name}{place}",
        fields={"device": device.slug, **({} if port is None else {"port": port.label})},
        columns=COLUMNS,
        rows=(),
        log=True,
        note=(
            "Start at 5 % or less and log every second until the device shows 100 % and the "
            "current has fallen. Battery level and input power may be left out; with input power, "
            "state the mains."
        ),
    )
