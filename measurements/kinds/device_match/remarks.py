"""What a reader of a device-match run should know beside its values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from measurements.kinds.base import Flag, Setup
from measurements.kinds.device_match.pairs import MEASURED_COLUMNS, Tried
from measurements.kinds.device_match.rate import FEWEST_DEVICES, NO_POWER_W
from measurements.kinds.instruments import instrument_flags, listed


def remarks(setup: Setup, *, tried: Sequence[Tried]) -> tuple[Flag, ...]:
    """Every flag of the run, each code at most once."""
    return (
        *_devices(tried),
        *_ports(setup, tried=tried),
        *_power(tried),
        *instrument_flags(setup, quantities=MEASURED_COLUMNS),
    )


def _devices(tried: Sequence[Tried]) -> Iterator[Flag]:
    names = list(dict.fromkeys(item.name for item in tried))
    if len(names) < FEWEST_DEVICES:
        yield Flag(
            "few-devices",
            "note",
            f"Fewer than {FEWEST_DEVICES} devices were tried: {listed(names)}. The match rate is "
            "listed apart.",
        )


def _ports(setup: Setup, *, tried: Sequence[Tried]) -> Iterator[Flag]:
    """A device's most is the most of the ports on which it was tried."""
    labels = [port.label for port in setup.adapter.ports]
    used: dict[str, set[str]] = {}
    for item in tried:
        used.setdefault(item.name, set()).add(item.pair.port)
    parts = [
        f"{name} on {listed(untried)}"
        for name, ports in used.items()
        if (untried := [label for label in labels if label not in ports])
    ]
    if parts:
        yield Flag(
            "untried-port",
            "note",
            f"Not tried: {'; '.join(parts)}. The most that the adapter gives a device may lie "
            "there.",
        )


def _power(tried: Sequence[Tried]) -> Iterator[Flag]:
    parts = [f"{item.name} on {item.pair.port}" for item in tried if item.pair.power_w < NO_POWER_W]
    if parts:
        yield Flag(
            "no-power",
            "warning",
            f"Less than {NO_POWER_W:g} W was drawn by {listed(parts)}: the device was full, or "
            "the two did not agree. The value stands as measured.",
        )
