"""The readings that this method asks for: every fixed voltage, without load and at full current."""

from __future__ import annotations

from collections.abc import Iterator

from measurements.kinds.advertised import SAME_VOLTAGE_V
from measurements.kinds.base import AdapterFacts, AdvertisedOutput, PlannedRun, PortFacts, Setup
from measurements.kinds.ripple.inputs import READINGS
from measurements.kinds.strongest import strongest_port

# Common practice: one point for either mains voltage of the world.
_MAINS: tuple[tuple[float, float], ...] = ((230.0, 50.0), (115.0, 60.0))

# What every port gives before anything is negotiated.
_FIRST_V = 5.0

_BANDWIDTH_MHZ = 20.0


def plan(setup: Setup) -> tuple[PlannedRun, ...]:
    """Two readings for each fixed voltage of the strongest port, at either mains voltage."""
    port = strongest_port(setup.adapter)
    return tuple(
        _planned(setup.adapter, port=port, mains_v=mains_v, mains_hz=mains_hz)
        for mains_v, mains_hz in _MAINS
    )


def _planned(
    adapter: AdapterFacts, *, port: PortFacts | None, mains_v: float, mains_hz: float
) -> PlannedRun:
    place = "" if port is None else f" on {port.label}"
    return PlannedRun(
        title=f"Ripple{place}, {mains_v:g} V mains",
        fields={
            "mains_v": mains_v,
            "mains_hz": mains_hz,
            **({} if port is None else {"port": port.label}),
            "bandwidth_mhz": _BANDWIDTH_MHZ,
        },
        columns=READINGS,
        rows=tuple(
            (voltage_v, load_a, None)
            for voltage_v, current_a in _outputs(adapter, port=port)
            for load_a in (0.0, current_a)
        ),
        note=(
            "Bandwidth of the instrument 20 MHz, short ground spring, probe at the receptacle, "
            "over one whole mains cycle or more. State the capacitors at the probe. Keep all "
            "voltages in one file: only then is the worst of them compared. A light load of a few "
            "percent is worth a row of its own."
        ),
    )


def _outputs(
    adapter: AdapterFacts, *, port: PortFacts | None
) -> tuple[tuple[float, float | None], ...]:
    """Voltage [V] and full current [A], rising; None where no current is stated.

    What the port says when it is scanned goes before what its maker printed for it, and that
    before what is printed for any port.
    """
    of_port = [item for item in adapter.advertised if port is None or item.port == port.label]
    candidates = (
        [item for item in of_port if item.source == "profile"],
        of_port,
        [item for item in adapter.advertised if not item.port],
    )
    chosen = next((found for items in candidates if (found := list(_fixed(items)))), [])
    return tuple(chosen) or ((_FIRST_V, None),)


def _fixed(items: list[AdvertisedOutput]) -> Iterator[tuple[float, float]]:
    """Every voltage once with its highest current."""
    usable = sorted(
        (item.voltage_v, item.current_a)
        for item in items
        if item.voltage_v > 0 and item.current_a > 0
    )
    while usable:
        voltage_v = usable[0][0]
        same = [item for item in usable if item[0] - voltage_v <= SAME_VOLTAGE_V]
        yield voltage_v, max(current_a for _, current_a in same)
        usable = usable[len(same) :]
