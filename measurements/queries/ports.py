"""What the ports of an adapter advertise, by the scans that stand."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from catalog.models import Adapter, Port, Protocol
from catalog.power_delivery.audit import audit
from catalog.power_delivery.augmented import Padding
from catalog.power_delivery.claims import Claim
from catalog.power_delivery.objects import DataObject, decode_all
from catalog.power_delivery.rules import Finding
from measurements.kinds.base import (
    PortProfiles,
)
from measurements.models import Value

# A scan gives these for every port whose objects or protocols it read, however many.
PROFILE_COUNT = "profile-count"
_SCANNED = (PROFILE_COUNT, "protocol-count")


@dataclass(frozen=True, slots=True)
class ScannedPort:
    """What a port advertises today, and the run that found it.

    `unread` are positions that the scan left out, though a later one is there.
    """

    profiles: PortProfiles
    run_id: uuid.UUID
    unread: tuple[int, ...] = ()

    @property
    def objects(self) -> tuple[DataObject, ...]:
        """The objects that were read."""
        read = decode_all(self.profiles.words)
        return tuple(item for item in read if item.position not in self.unread)


def scanned_ports(adapter_id: int) -> tuple[ScannedPort, ...]:
    """The scanned ports of an adapter, by the runs whose values stand. One query.

    A port's objects are those of the run that holds its standing count of profiles, and its
    protocols those of the run that holds the count of them.
    """
    rows = (
        Value.objects.current()
        .filter(metric__in=_SCANNED, adapter=adapter_id, run__isnull=False)
        .order_by("port")
        .values_list("port", "metric", "run_id", "run__details")
    )
    found: dict[str, ScannedPort] = {}
    for label, metric, run_id, details in rows:
        known = found.get(label, ScannedPort(PortProfiles(label), run_id))
        port = next(item for item in details["facts"]["ports"] if item["port"] == label)
        if metric == PROFILE_COUNT:
            words = tuple(int(word, 16) for word in port["words"])
            profiles = replace(known.profiles, words=words)
            found[label] = ScannedPort(profiles, run_id, tuple(port["unread"]))
        else:
            profiles = replace(known.profiles, protocols=tuple(port["protocols"]))
            found[label] = replace(known, profiles=profiles)
    return tuple(found.values())


@dataclass(frozen=True, slots=True)
class PortCapability:
    """A port of the catalogue with what a scan found it to advertise.

    `objects` are without the padding; `protocols` are names by slug, those of the catalogue
    and those of the scan; `run_id` is None for a port that was not scanned.
    """

    port: Port
    objects: tuple[DataObject, ...] = ()
    protocols: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    run_id: uuid.UUID | None = None


def port_capabilities(adapter: Adapter) -> tuple[PortCapability, ...]:
    """Every port with its capability and the audit of it.

    Two queries when ports, their protocols and the claims were fetched with the adapter.
    """
    scanned = {item.profiles.port: item for item in scanned_ports(adapter.pk)}
    names = dict(Protocol.objects.values_list("slug", "name")) if scanned else {}
    ports = sorted(adapter.ports.all(), key=lambda port: (port.position, port.pk))
    claims = tuple(adapter.claims.all())
    found = []
    for port in ports:
        protocols = {item.slug: item.name for item in port.protocols.all()}
        scan = scanned.get(port.label)
        if scan is None:
            found.append(PortCapability(port, protocols=protocols))
            continue
        protocols |= {slug: names.get(slug, slug) for slug in scan.profiles.protocols}
        objects = scan.objects
        rated = port.rated_power_w or (adapter.rated_power_w if len(ports) == 1 else None)
        findings = audit(
            objects,
            rated_power_w=adapter.rated_power_w,
            port_rated_power_w=rated,
            claims=[
                Claim(text=claim.text, voltage_v=claim.voltage_v, current_a=claim.current_a)
                for claim in claims
                if claim.voltage_v is not None
                and claim.current_a is not None
                and (claim.port_id == port.pk or (claim.port_id is None and len(ports) == 1))
            ],
        )
        found.append(
            PortCapability(
                port,
                objects=tuple(item for item in objects if not isinstance(item, Padding)),
                protocols=dict(sorted(protocols.items())),
                findings=findings if scan.profiles.words else (),
                run_id=scan.run_id,
            )
        )
    return tuple(found)
