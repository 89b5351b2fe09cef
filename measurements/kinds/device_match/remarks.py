"""What a reader of a device-match run should know beside its values."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from measurements.kinds.base import Flag, Setup
from measurements.kinds.device_match.pairs import MEASURED_COLUMNS, Tried
from measurements.kinds.device_match.rate import FEWEST_DEVICES, NO_POWER_W


def remarks(setup: Setup, *, tried: Sequence[Tried]) -> tuple[Flag, ...]:
    """Every flag of the run, each code at most once."""
    return (*_devices(tried), *_ports(setup, tried=tried), *_power(tried), *_instruments(setup))


def _devices(tried: Sequence[Tried]) -> Iterator[Flag]:
    names = list(dict.fromkeys(item.name for item in tried))
    if len(names) < FEWEST_DEVICES:
        yield Flag(
            "few-devices",
            "note",
            f"Fewer than {FEWEST_DEVICES} devices were tried: {_listed(names)}. The match rate is "
            "listed apart.",
        )


def _ports(setup: Setup, *, tried: Sequence[Tried]) -> Iterator[Flag]:
    """A device's most is the most of the ports on which it was tried."""
    labels = [port.label for port in setup.adapter.ports]
    used: dict[str, set[str]] = {}
    for item in tried:
        used.setdefault(item.name, set()).add(item.pair.port)
    parts = [
        f"{name} on {_listed(untried)}"
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
            f"Less than {NO_POWER_W:g} W was drawn by {_listed(parts)}: the device was full, or "
            "the two did not agree. The value stands as measured.",
        )


def _instruments(setup: Setup) -> Iterator[Flag]:
    missing = [
        quantity.replace("_", " ")
        for quantity in MEASURED_COLUMNS
        if not setup.accuracies_of(quantity)
    ]
    if missing:
        yield Flag(
            "no-instrument",
            "warning",
            f"No instrument is named for {_listed(missing)}; its accuracy is missing from the "
            "uncertainties, which are too small by it.",
        )
    chosen = [
        f"{named[0].name} for {quantity.replace('_', ' ')}"
        for quantity in MEASURED_COLUMNS
        if len(named := setup.accuracies_of(quantity)) > 1
    ]
    if chosen:
        yield Flag(
            "several-instruments",
            "note",
            f"Several instruments are named for one quantity; the first counts: {_listed(chosen)}.",
        )


def _listed(parts: Iterable[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    texts = list(parts)
    return " and ".join((", ".join(texts[:-1]), texts[-1])) if len(texts) > 1 else texts[0]
