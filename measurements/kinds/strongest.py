"""Which port of an adapter is its strongest, and what was measured on a weaker one.

Values of ripple and efficiency hold for the adapter, whatever port they were measured on, so that
only those of its strongest port are compared. This is the project's own rule.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from measurements.kinds.base import AdapterFacts, Flag, Measured, PortFacts, Setup
from measurements.kinds.instruments import listed

# Ratings are rounded: within one per cent two ports count as equally strong.
_EQUAL_SHARE = 0.99


def port_power_w(adapter: AdapterFacts, port: PortFacts) -> float | None:
    """Rated power of a port [W], else the most that is advertised for it; None when unknown.

    What the port itself said when it was scanned goes before what is printed for it.
    """
    if port.rated_power_w is not None:
        return port.rated_power_w
    own = [item for item in adapter.advertised if item.port == port.label]
    scanned = [item for item in own if item.source == "profile"]
    return max((item.voltage_v * item.current_a for item in scanned or own), default=None)


def strongest_port(adapter: AdapterFacts) -> PortFacts | None:
    """The port that gives most power, the first of equal ones; None without ports."""
    return next(iter(_strongest(adapter) or adapter.ports), None)


def weaker_port(setup: Setup) -> str:
    """The sentence that keeps values of a weaker port apart, else an empty text.

    Empty as well when no port is stated, and when it is not known which port is the strongest.
    A port of unknown power counts as weaker when another one gives all that the adapter is rated
    for.
    """
    port, adapter = setup.port, setup.adapter
    strongest = _strongest(adapter)
    if port is None or not strongest or port.label in {item.label for item in strongest}:
        return ""
    highest_w = port_power_w(adapter, strongest[0])
    if (
        port_power_w(adapter, port) is None
        and (highest_w or 0.0) < _EQUAL_SHARE * adapter.rated_power_w
    ):
        return ""
    labels = [item.label for item in strongest]
    its = f"port, {labels[0]}" if len(labels) == 1 else f"ports, {listed(labels)}"
    return f"Measured on {port.label}; adapters are compared by their strongest {its}."


def compared_by_port(values: Iterable[Measured], setup: Setup) -> tuple[Measured, ...]:
    """The values, set apart when they were measured on a weaker port."""
    reason = weaker_port(setup)
    if not reason:
        return tuple(values)
    return tuple(replace(item, apart=f"{item.apart} {reason}".lstrip()) for item in values)


def port_flags(setup: Setup) -> Iterator[Flag]:
    """The remark on a run that was measured on a weaker port."""
    if reason := weaker_port(setup):
        yield Flag("weaker-port", "note", f"{reason} Values are listed apart.")


def _strongest(adapter: AdapterFacts) -> list[PortFacts]:
    """The ports of highest known power, in the order of the catalogue; none when none is known."""
    powers = {port.label: port_power_w(adapter, port) or 0.0 for port in adapter.ports}
    highest_w = max(powers.values(), default=0.0)
    if highest_w <= 0:
        return []
    return [port for port in adapter.ports if powers[port.label] >= _EQUAL_SHARE * highest_w]
