"""What people do to the catalogue. Every writer (page, API, admin, demo) comes through here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.text import slugify

from catalog.models import Adapter, Device, LabelClaim, Maker, Port, Protocol, Unit
from catalog.signals import adapter_saved


@dataclass(frozen=True, slots=True)
class PortFacts:
    """A port to be written; `protocols` are slugs of the vocabulary. Power in W."""

    label: str
    connector: str
    rated_power_w: float | None = None
    protocols: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ClaimFacts:
    """A label claim to be written; `port` is a label or "". Volts, amperes and watts.

    `combination` and `power_w` go together: the power that `port` keeps while the ports of
    the combination, such as ``C1+C2``, are in use.
    """

    text: str
    port: str = ""
    voltage_v: float | None = None
    current_a: float | None = None
    combination: str = ""
    power_w: float | None = None


def free_slug(
    text: str, *, taken: Iterable[str], otherwise: str = "adapter", longest: int = 150
) -> str:
    """`text` as a slug that is not among `taken`, numbered when it has to be.

    `otherwise` stands for a text that has no letters or digits; `longest` leaves room for
    the number.
    """
    base = slugify(text)[:longest] or otherwise
    used = set(taken)
    slug, number = base, 2
    while slug in used:
        slug, number = f"{base}-{number}", number + 1
    return slug


def get_maker(name: str) -> Maker:
    """The maker of that name, written down if it is new. Names differ by more than case."""
    name = " ".join(name.split())
    maker = Maker.objects.filter(name__iexact=name).first()
    if maker is None:
        taken = Maker.objects.values_list("slug", flat=True)
        slug = free_slug(name, taken=taken, otherwise="maker", longest=90)
        maker = Maker.objects.create(name=name, slug=slug)
    return maker


@transaction.atomic
def save_adapter(
    adapter: Adapter,
    *,
    ports: Sequence[PortFacts] | None = None,
    claims: Sequence[ClaimFacts] | None = None,
) -> Adapter:
    """Write an adapter, and its ports and claims where they are given.

    Ports are matched by label, so that runs keep the port they were measured on; one that
    is no longer listed is removed. Raises `ValidationError` for facts that contradict each
    other and `ProtectedError` for a port that runs refer to.
    """
    if not adapter.slug:
        # The prefix narrows the look-up to slugs that could collide.
        base = slugify(f"{adapter.maker.name} {adapter.name}")[:150]
        taken = Adapter.objects.filter(slug__startswith=base).values_list("slug", flat=True)
        adapter.slug = free_slug(base, taken=taken)
    adapter.full_clean()
    adapter.save()
    if ports is not None:
        _save_ports(adapter, ports)
    if claims is not None:
        _save_claims(adapter, claims)
    adapter_saved.send(sender=Adapter, adapter=adapter)
    return adapter


def _save_ports(adapter: Adapter, ports: Sequence[PortFacts]) -> None:
    kept = {port.label: port for port in adapter.ports.all()}
    vocabulary = {protocol.slug: protocol for protocol in Protocol.objects.all()}
    for position, facts in enumerate(ports):
        port = kept.pop(facts.label, None) or Port(adapter=adapter, label=facts.label)
        port.connector = facts.connector
        port.rated_power_w = facts.rated_power_w
        port.position = position
        port.full_clean()
        port.save()
        port.protocols.set([vocabulary[slug] for slug in facts.protocols])
    for port in kept.values():
        port.delete()


def _save_claims(adapter: Adapter, claims: Sequence[ClaimFacts]) -> None:
    ports = {port.label: port for port in adapter.ports.all()}
    adapter.claims.all().delete()
    for facts in claims:
        claim = LabelClaim(
            adapter=adapter,
            port=ports.get(facts.port),
            text=facts.text,
            voltage_v=facts.voltage_v,
            current_a=facts.current_a,
            combination=facts.combination,
            power_w=facts.power_w,
        )
        claim.full_clean()
        claim.save()


# Addresses beside those of devices.
RESERVED_DEVICES = ("new",)


def save_device(device: Device) -> Device:
    """Write down a reference device. Raises `ValidationError` for facts that cannot be.

    A device that uploads have named already, without anybody confirming it, is taken over.
    """
    named = Device.objects.filter(name__iexact=device.name, confirmed=False).first()
    if device._state.adding and device.confirmed and named is not None:
        device.pk, device.slug = named.pk, named.slug
        device._state.adding = False
    if not device.slug:
        taken = Device.objects.values_list("slug", flat=True)
        device.slug = free_slug(
            device.name, taken=[*taken, *RESERVED_DEVICES], otherwise="device", longest=90
        )
    device.full_clean()
    device.save()
    return device


def find_device(text: str) -> Device | None:
    """The device of that slug or name, however its capitals are written."""
    wanted = " ".join(text.split())
    return (
        Device.objects.filter(slug__iexact=wanted).first()
        or Device.objects.filter(name__iexact=wanted).first()
    )


def get_device(text: str) -> tuple[Device, bool]:
    """The device of that slug or name, written down if it is new, and whether it was.

    A new one is not confirmed before a run that names it is accepted.
    Raises `ValidationError` for a text that cannot be a device's name.
    """
    if device := find_device(text):
        return device, False
    try:
        with transaction.atomic():
            return save_device(Device(name=" ".join(text.split()), confirmed=False)), True
    except IntegrityError:
        # Somebody else wrote it down in this moment.
        if device := find_device(text):
            return device, False
        raise


def confirm_devices(slugs: Iterable[str]) -> None:
    """List devices that only uploads had named: a run that names them was accepted."""
    Device.objects.filter(slug__in=list(slugs), confirmed=False).update(confirmed=True)


def get_unit(adapter: Adapter, *, serial: str, facts: Mapping[str, Any] | None = None) -> Unit:
    """The adapter's unit of that serial, written down if it is new."""
    unit, _ = Unit.objects.get_or_create(
        adapter=adapter, serial=serial or "1", defaults=dict(facts or {})
    )
    return unit
