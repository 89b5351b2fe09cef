"""The soaks that this method asks for."""

from __future__ import annotations

from measurements.kinds.base import PlannedRun, Setup
from measurements.kinds.strongest import strongest_port
from measurements.kinds.thermal.power import POWER_COLUMN, full_load_w
from measurements.kinds.thermal.sensors import AMBIENT_COLUMN

# Common practice: one point for either mains voltage of the world.
_MAINS: tuple[tuple[float, float], ...] = ((230.0, 50.0), (115.0, 60.0))


def plan(setup: Setup) -> tuple[PlannedRun, ...]:
    """An hour at full load of the strongest port, at either mains voltage."""
    port = strongest_port(setup.adapter)
    power = full_load_w(setup.adapter, port=port)
    amount = "" if power is None else f"Load {power:g} W, in constant current. "
    place = "" if port is None else f" on {port.label}"
    return tuple(
        PlannedRun(
            title=f"An hour at full load{place}, {mains_v:g} V mains",
            fields={
                "mains_v": mains_v,
                "mains_hz": mains_hz,
                **({} if port is None else {"port": port.label}),
            },
            columns=("time_s", AMBIENT_COLUMN, POWER_COLUMN, "top_c", "prongs_c"),
            rows=(),
            log=True,
            note=(
                f"{amount}Room at 25 ± 2 °C, adapter cold at the start, load on with the first "
                "row, a row every ten seconds. One column for each sensor, named by its place; "
                "materials other than the enclosure's go into the form. Do not leave it alone."
            ),
        )
        for mains_v, mains_hz in _MAINS
    )
