"""The scan that this method asks for."""

from __future__ import annotations

from measurements.kinds.base import AdapterFacts, PlannedRun, PortFacts

_SPR_POSITIONS = 7
_EPR_POSITIONS = 11
# Above this rating the source rules call for voltages of the extended range.
_HIGHEST_SPR_POWER_W = 100.0


def plan(adapter: AdapterFacts) -> tuple[PlannedRun, ...]:
    """One scan of all ports, with the positions that each may use."""
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
                "what the port does not send blank. Add a row with port and protocol for every "
                "other protocol that a port answers to, USB-A ports among them."
            ),
        ),
    )


def _rows(port: PortFacts, *, positions: int) -> list[tuple[str | float | None, ...]]:
    if port.connector == "usb-a":
        return []  # Power Delivery runs over a wire that this connector does not have.
    return [(port.label, float(place), None, None) for place in range(1, positions + 1)]
