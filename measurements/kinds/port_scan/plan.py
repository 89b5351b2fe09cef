"""The scan that this method asks for."""

from __future__ import annotations

from measurements.kinds.base import PlannedRun, PortFacts, Setup

_SPR_POSITIONS = 7
_EPR_POSITIONS = 11
# Above this rating the source rules call for voltages of the extended range.
_HIGHEST_SPR_POWER_W = 100.0


def plan(setup: Setup) -> tuple[PlannedRun, ...]:
    """One scan of all ports: the positions that each may use, and other protocols of USB-A."""
    adapter = setup.adapter
    positions = _SPR_POSITIONS if adapter.rated_power_w <= _HIGHEST_SPR_POWER_W else _EPR_POSITIONS
    rows = [row for port in adapter.ports for row in _rows(port, positions=positions)]
    if not rows:
        return ()
    return (
        PlannedRun(
            title="What every port advertises",
            fields={},
            columns=("port", "position", "word", "protocol"),
            rows=tuple(rows),
            note=(
                "Nothing else connected to the adapter, a cable marked for 5 A, and for extended "
                "range one marked for it. Write each word as 0x and 8 hexadecimal digits; leave "
                "what the port does not send blank. A USB-A port has a row for the protocol that "
                "it answers to; add a row with port and protocol for every other one, of any port."
            ),
        ),
    )


def _rows(port: PortFacts, *, positions: int) -> list[tuple[str | float | None, ...]]:
    if port.connector == "usb-a":
        # Power Delivery runs over a wire that this connector does not have.
        return [(port.label, None, None, None)]
    return [(port.label, float(place), None, None) for place in range(1, positions + 1)]
