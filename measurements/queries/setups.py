"""What a computation may know: the adapter, the devices, the conditions of a run."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from django.db.models import Prefetch

from catalog.models import Adapter, Device, LabelClaim, Port
from catalog.power_delivery.objects import decode_all
from catalog.power_delivery.supplies import FixedSupply
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    AdvertisedOutput,
    DeviceFacts,
    PortFacts,
    PortProfiles,
    Setup,
    SharingClaim,
)
from measurements.models import Instrument, Run, Stated, line_of
from measurements.queries.ports import scanned_ports


def run_to_compute(run_id: uuid.UUID) -> Run:
    """The run with all that its computation needs, in a fixed number of queries."""
    return (
        Run.objects.select_related("adapter", "port", "column_map")
        .prefetch_related(
            "instruments",
            "adapter__ports",
            Prefetch("adapter__claims", LabelClaim.objects.select_related("port")),
        )
        .get(pk=run_id)
    )


def _port_facts(port: Port) -> PortFacts:
    return PortFacts(label=port.label, connector=port.connector, rated_power_w=port.rated_power_w)


def adapter_facts(adapter: Adapter) -> AdapterFacts:
    """What the pure core may know of an adapter: catalogue, label, and what its ports advertise.

    One query when ports and claims (with their port) were fetched with the adapter.
    """
    profiles = tuple(item.profiles for item in scanned_ports(adapter.pk))
    claims = tuple(adapter.claims.all())
    return AdapterFacts(
        rated_power_w=adapter.rated_power_w,
        supply=adapter.supply,  # type: ignore[arg-type]  # the column's choices are the literal's
        enclosure=adapter.enclosure or Adapter.Enclosure.PLASTIC,
        ports=tuple(_port_facts(port) for port in adapter.ports.all()),
        advertised=(
            *_advertised_by(profiles),
            *(
                AdvertisedOutput(
                    port=claim.port.label if claim.port else "",
                    voltage_v=claim.voltage_v,
                    current_a=claim.current_a,
                )
                for claim in claims
                # A rating for a combination of ports is not what the port gives alone.
                if claim.voltage_v is not None
                and claim.current_a is not None
                and not claim.combination
            ),
        ),
        profiles=profiles,
        sharing_claims=tuple(
            SharingClaim(claim.combination, claim.port.label, claim.power_w)
            for claim in claims
            if claim.port is not None and claim.power_w is not None
        ),
    )


def _advertised_by(profiles: Iterable[PortProfiles]) -> Iterator[AdvertisedOutput]:
    for port in profiles:
        for item in decode_all(port.words):
            if isinstance(item, FixedSupply) and item.voltage_v > 0 and item.current_max_a > 0:
                yield AdvertisedOutput(
                    port=port.port,
                    voltage_v=item.voltage_v,
                    current_a=item.current_max_a,
                    source="profile",
                )


def devices_known(*, listed: bool = False) -> tuple[DeviceFacts, ...]:
    """The reference devices as the pure core takes them, all or only `listed` ones. One query."""
    devices = Device.objects.listed() if listed else Device.objects.all()
    return tuple(
        DeviceFacts(
            slug=device.slug,
            name=device.name,
            battery_wh=device.battery_wh,
            max_power_w=device.max_power_w,
            voltage_min_v=device.voltage_min_v,
            voltage_max_v=device.voltage_max_v,
        )
        for device in devices.order_by("slug")
    )


def setup_of(run: Run) -> Setup:
    """The conditions of a run as the pure core takes them; two queries after `run_to_compute`."""
    return setup_with(run, instruments=run.instruments.all(), fields=run.method_fields)


def setup_with(
    stated: Stated, *, instruments: Iterable[Instrument], fields: Mapping[str, Any]
) -> Setup:
    """Conditions, of a run or of a file that is not handed in yet, as the pure core takes them."""
    return Setup(
        adapter=adapter_facts(stated.adapter),
        devices=devices_known(),
        line=line_of(stated.mains_v),  # type: ignore[arg-type]  # it gives one of the literals
        mains_v=stated.mains_v,
        mains_hz=stated.mains_hz,
        ambient_c=stated.ambient_c,
        port=_port_facts(stated.port) if stated.port else None,
        accuracies=tuple(
            Accuracy(item.name, item.quantity, item.reading_percent, item.fixed)
            for item in sorted(instruments, key=lambda item: item.name)
        ),
        fields=fields,
    )
