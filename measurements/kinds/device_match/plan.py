"""The operating points that the method asks for."""

from __future__ import annotations

from measurements.kinds.base import AdapterFacts, PlannedRun

COLUMNS = ("device", "port", "protocol", "voltage_v", "current_a")


def plan(adapter: AdapterFacts) -> tuple[PlannedRun, ...]:
    """One run with a row for each port; the bench repeats them for each of its devices."""
    if not adapter.ports:
        return ()
    return (
        PlannedRun(
            title="Power drawn by reference devices",
            fields={},
            columns=COLUMNS,
            rows=tuple((None, port.label, None, None, None) for port in adapter.ports),
            note=(
                "Repeat these rows for each reference device, nearly empty, its screen off, and "
                "write the reading once the power stands still. Three devices or more make a match "
                "rate that can be compared."
            ),
        ),
    )
