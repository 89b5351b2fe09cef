"""Why a device charges slowly on a port: the measured pair against what the port can do."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from catalog.power_delivery.augmented import ProgrammableSupply
from catalog.power_delivery.capability import inferred_power_w
from catalog.power_delivery.objects import DataObject, decode_all
from measurements.kinds.base import DeviceFacts, PortFacts, PortProfiles
from measurements.kinds.device_match.pairs import Pair
from measurements.kinds.device_match.rate import MATCHED_SHARE, NO_POWER_W, is_matched

# Under this a port is at the 5 V that every USB port starts with [V]; the project's own bound.
_FIVE_VOLTS_BELOW_V = 5.5


@dataclass(frozen=True, slots=True)
class SlowPairing:
    """A device that draws less than nine tenths of its best on a port.

    `best_w` [W] is the most that any adapter gave the device, `share` [1] the pair's part of it.
    `reason` is a sentence, or empty where the capability of the port gives no reason.
    """

    pair: Pair
    best_w: float
    share: float
    reason: str


@dataclass(frozen=True, slots=True)
class Offer:
    """The strongest operating point of a stretch of voltages: [V], [A] and [W]."""

    voltage_v: float
    current_a: float
    power_w: float


def slow_pairings(
    pairs: Sequence[Pair],
    best_by_device: Mapping[str, float],
    *,
    profiles: tuple[PortProfiles, ...],
    ports: tuple[PortFacts, ...],
    devices: tuple[DeviceFacts, ...],
) -> tuple[SlowPairing, ...]:
    """The pairs of one adapter that draw less than nine tenths of the device's best, explained.

    Parameters
    ----------
    pairs : sequence of Pair
        What was measured, as `pairs.pairs_from_facts` reads it from a run. [V, A and W]
    best_by_device : mapping of str to float
        Device slug → the most that any adapter gave it: the highest standing `matched-power` of
        that device. A device that is absent, or whose best is under half a watt, has no slow
        pairing. [W]
    profiles : tuple of PortProfiles
        What a scan found the adapter's ports to advertise; without a scan of a port, no reason
        is taken from it. [-]
    ports : tuple of PortFacts
        The adapter's ports with their rated power. [W]
    devices : tuple of DeviceFacts
        The reference devices with the voltages in which they take their highest power. [V]

    Returns
    -------
    slow : tuple of SlowPairing
        In the order of `pairs`. The reason is the first of these that applies: the port offers
        no voltage that the device wants; what it offers there is too weak; only 5 V was
        negotiated; the protocol of the pair was not found on the port by the scan; the port's
        rated power is below the device's best. [W and 1]
    """
    by_port = {item.port: item for item in profiles}
    rated = {port.label: port.rated_power_w for port in ports}
    by_slug = {device.slug: device for device in devices}
    slow = []
    for pair in pairs:
        best_w = best_by_device.get(pair.device, 0.0)
        if best_w < NO_POWER_W or is_matched(pair.power_w, best_w=best_w):
            continue
        device = by_slug.get(pair.device, DeviceFacts(pair.device, pair.device))
        scanned = by_port.get(pair.port, PortProfiles(pair.port))
        reasons = (
            _capability(pair, device, words=scanned.words, best_w=best_w),
            _five_volts(pair, device),
            _protocol(pair, protocols=scanned.protocols),
            _rating(pair, device, rated_w=rated.get(pair.port), best_w=best_w),
        )
        reason = next(filter(None, reasons), "")
        slow.append(SlowPairing(pair, best_w, share=pair.power_w / best_w, reason=reason))
    return tuple(slow)


def strongest_offer(
    objects: Sequence[DataObject], *, voltage_min_v: float, voltage_max_v: float
) -> Offer | None:
    """The highest power that the objects allow from one voltage to another.

    Parameters
    ----------
    objects : sequence of DataObject
        What one port advertises. [V, A and W]
    voltage_min_v, voltage_max_v : float
        The stretch of voltages, both ends included. [V]

    Returns
    -------
    offer : Offer or None
        The strongest operating point; None where no object reaches into the stretch. A
        power-limited programmable supply counts with no more than the power of the fixed
        supplies. [V, A and W]
    """
    rating = inferred_power_w(objects)
    offers = []
    for item in objects:
        limited = isinstance(item, ProgrammableSupply) and item.power_limited and rating > 0
        for supply in item.ranges:
            # The current never falls faster than the voltage rises, so the top is the strongest.
            voltage = min(supply.voltage_max_v, voltage_max_v)
            if voltage < max(supply.voltage_min_v, voltage_min_v):
                continue
            current = supply.current_at(voltage) or 0.0
            if limited and voltage > 0:
                current = min(current, rating / voltage)
            offers.append(Offer(voltage, current, power_w=voltage * current))
    return max(offers, key=lambda offer: offer.power_w, default=None)


def _capability(pair: Pair, device: DeviceFacts, *, words: tuple[int, ...], best_w: float) -> str:
    """No wanted voltage on offer, or too little power at it; empty without a scan."""
    objects = decode_all(words)
    # Only padding, reserved objects and nonsense: that says nothing about the port.
    if strongest_offer(objects, voltage_min_v=0.0, voltage_max_v=math.inf) is None:
        return ""
    low = 0.0 if device.voltage_min_v is None else device.voltage_min_v
    high = math.inf if device.voltage_max_v is None else device.voltage_max_v
    offer = strongest_offer(objects, voltage_min_v=low, voltage_max_v=high)
    if offer is None:
        return (
            f"{device.name} takes its highest power {_stretch(low, high)}, which {pair.port} "
            "does not offer."
        )
    if offer.power_w < MATCHED_SHARE * best_w:
        where = "" if low == 0 and math.isinf(high) else f" {_stretch(low, high)}"
        return (
            f"{pair.port} offers at most {offer.power_w:.3g} W{where} ({offer.voltage_v:g} V, "
            f"{offer.current_a:.3g} A); {device.name} took {best_w:.3g} W on its best adapter."
        )
    return ""


def _stretch(low: float, high: float) -> str:
    if math.isinf(high):
        return f"from {low:g} V up"
    if low == 0:
        return f"up to {high:g} V"
    return f"at {low:g} V" if low == high else f"from {low:g} V to {high:g} V"


def _rating(pair: Pair, device: DeviceFacts, *, rated_w: float | None, best_w: float) -> str:
    if rated_w is None or rated_w >= best_w:
        return ""
    return (
        f"{pair.port} is rated {rated_w:g} W; {device.name} took {best_w:.3g} W on its best "
        "adapter."
    )


def _protocol(pair: Pair, *, protocols: Iterable[str]) -> str:
    found = {_slug(item) for item in protocols}
    if not pair.protocol or not found or _slug(pair.protocol) in found:
        return ""
    return f"The pair used {pair.protocol}, which the scan did not find on {pair.port}."


def _slug(text: str) -> str:
    """A protocol as the vocabulary writes it, however a bench spells it: ``usb-pd-pps``."""
    return "-".join(re.findall(r"[^\W_]+", text.casefold()))


def _five_volts(pair: Pair, device: DeviceFacts) -> str:
    wants_five = device.voltage_max_v is not None and device.voltage_max_v < _FIVE_VOLTS_BELOW_V
    if wants_five or pair.voltage_v >= _FIVE_VOLTS_BELOW_V:
        return ""
    return f"Only 5 V was negotiated ({pair.voltage_v:.2f} V)."
