"""Devices that an adapter charges slowly, beside what the whole history gave them."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Max

from catalog.models import Adapter, Viewer
from measurements.kinds.device_match.pairings import SlowPairing, slow_pairings
from measurements.kinds.device_match.pairs import pairs_from_facts
from measurements.models import Run, Value
from measurements.queries import adapter_facts, devices_known


@dataclass(frozen=True, slots=True)
class NamedPairing:
    """A slow pairing with the device's name as people know it."""

    name: str
    slow: SlowPairing

    @property
    def percent(self) -> float:
        """Its part of the device's best. [%]"""
        return 100 * self.slow.share


def slow_pairings_of(adapter: Adapter, *, viewer: Viewer) -> tuple[NamedPairing, ...]:
    """Slow pairings of the runs whose matched powers stand, explained where that is possible.

    One query for an adapter without such a run, five for one with.
    """
    measured = Value.objects.measured().current().visible_to(viewer)
    standing = measured.filter(metric="matched-power", apart="")
    own = dict(standing.filter(adapter=adapter).values_list("device", "run"))
    if not own:
        return ()
    runs = Run.objects.filter(pk__in=set(own.values())).only("details")
    pairs = [
        pair
        for run in runs
        for pair in pairs_from_facts(run.details["facts"])
        if own.get(pair.device) == run.pk
    ]
    bests = standing.filter(device__in=own).values_list("device").annotate(Max("value")).order_by()
    facts = adapter_facts(adapter)
    devices = devices_known()
    found = slow_pairings(
        pairs, dict(bests), profiles=facts.profiles, ports=facts.ports, devices=devices
    )
    names = {device.slug: device.name for device in devices}
    return tuple(
        NamedPairing(names.get(item.pair.device, item.pair.device), item) for item in found
    )
