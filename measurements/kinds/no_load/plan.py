"""The records that the standby method asks for."""

from __future__ import annotations

from measurements.kinds.base import PlannedRun, Setup
from measurements.standards import iec_62301_2011 as sampling

COLUMNS = ("time_s", "input_power_w", "input_voltage_v", "input_current_a", "power_factor")

_MAINS = ((230.0, 50.0), (115.0, 60.0))


def plan(_: Setup) -> tuple[PlannedRun, ...]:
    """One log at each mains voltage, the same for every adapter."""
    minutes = sampling.SHORTEST_RECORD_S / 60
    return tuple(
        PlannedRun(
            title=f"Standby for {minutes:g} minutes, {mains_v:g} V mains",
            fields={"mains_v": mains_v, "mains_hz": mains_hz},
            columns=COLUMNS,
            rows=(),
            log=True,
            note=(
                "Nothing connected to any port, not even a cable. Log the input power every "
                f"{sampling.LONGEST_SPACING_S:g} s or faster for at least {minutes:g} minutes, "
                "longer while it still drifts. Only the input power is needed; the time makes "
                "length and drift visible. Note the room's temperature."
            ),
        )
        for mains_v, mains_hz in _MAINS
    )
