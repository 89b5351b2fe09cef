"""What all objects of a port allow together."""

from __future__ import annotations

from collections.abc import Iterable

from catalog.power_delivery.augmented import ProgrammableSupply
from catalog.power_delivery.objects import DataObject
from catalog.power_delivery.supplies import FixedSupply


def inferred_power_w(objects: Iterable[DataObject]) -> float:
    """The power that the fixed supplies let one infer for a port whose rating is not stated.

    By the source power rules [1]_ the rated power is reached by a fixed supply. Many sources
    break that rule, so this stays apart from the rating that the maker declares.

    Parameters
    ----------
    objects : iterable of DataObject
        The objects of one port. [V, A and W]

    Returns
    -------
    power : float
        Largest voltage times current over the fixed supplies, 0 without any. [W]

    References
    ----------
    .. [1] `usb-pd-source-rules`
    """
    return max((item.power_max_w for item in objects if isinstance(item, FixedSupply)), default=0.0)


def highest_power_w(objects: Iterable[DataObject]) -> float:
    """Highest power that any advertised object allows.

    Parameters
    ----------
    objects : iterable of DataObject
        The objects of one port. [V, A and W]

    Returns
    -------
    power : float
        The highest power, 0 without any. A power-limited programmable supply counts with no
        more than the inferred power of the fixed supplies, as its limit is the rating. [W]
    """
    kept = tuple(objects)
    rating = inferred_power_w(kept)
    powers = [
        min(item.power_max_w, rating)
        if isinstance(item, ProgrammableSupply) and item.power_limited and rating
        else item.power_max_w
        for item in kept
    ]
    return max((power for power in powers if power is not None), default=0.0)


def highest_current_a(objects: Iterable[DataObject], *, voltage_v: float) -> float | None:
    """Highest current that any object offers at a voltage.

    Parameters
    ----------
    objects : iterable of DataObject
        The objects of one port. [V, A and W]
    voltage_v : float
        The voltage. [V]

    Returns
    -------
    current : float or None
        The highest current; None when no object offers that voltage. [A]
    """
    currents = [item.current_at(voltage_v) for item in objects]
    return max((current for current in currents if current is not None), default=None)
