"""What the adapter is, and what its ports say: identity, size, profiles."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from catalog.models import Adapter
from catalog.power_delivery.objects import DataObject
from catalog.templatetags.power_objects import kind_words
from comparisons.facts.sheets import Fact, Source
from comparisons.facts.values import CATALOGUE, placed_fact, run_source, value_of
from comparisons.facts.words import NBSP, counted, few, plain, uncapitalised
from comparisons.queries.fact_material import FactMaterial
from measurements.kinds.instruments import listed
from measurements.queries import PortCapability


def identity_facts(material: FactMaterial) -> Iterator[Fact]:
    """Rating, ports, body, mass and price as the catalogue has them."""
    adapter = material.adapter
    source = (Source(CATALOGUE, adapter.get_absolute_url()),)
    for text in (_rating(adapter), _body(adapter), _mass(adapter), _price(adapter)):
        if text:
            yield Fact(text, sources=source)
    for key, text in (
        ("power-density", "Its rated power over its volume is {}."),
        ("specific-power", "Its rated power over its mass is {}."),
    ):
        for placed in material.of(key):
            yield placed_fact(material, placed, text.format(value_of(placed)))


def _rating(adapter: Adapter) -> str:
    kinds = Counter(port.get_connector_display() for port in adapter.ports.all())
    ports = listed(few(count, f"{name} port") for name, count in kinds.items())
    rated = f"{adapter} is rated {plain(adapter.rated_power_w, 'W')}"
    if not ports:
        return f"{rated}; the catalogue does not list its ports."
    return f"{rated} and has {ports}."


def _body(adapter: Adapter) -> str:
    sides = (adapter.length_mm, adapter.width_mm, adapter.height_mm)
    if adapter.volume_cm3 is None:
        return "Its size is not stated."
    by = f"{NBSP}×{NBSP}".join(f"{side:g}" for side in sides)
    return f"Its body measures {by}{NBSP}mm, {adapter.volume_cm3:.1f}{NBSP}cm³ without plug pins."


def _mass(adapter: Adapter) -> str:
    if adapter.mass_g is None:
        return "Its mass is not stated."
    return f"Its mass is {plain(adapter.mass_g, 'g')}."


def _price(adapter: Adapter) -> str:
    if adapter.price is None:
        return ""
    return f"Its price was noted as {adapter.price}{NBSP}{adapter.currency}."


def profile_facts(material: FactMaterial) -> Iterator[Fact]:
    """What each port advertises; nothing where no port was scanned."""
    if not any(item.run_id for item in material.capabilities):
        return
    for item in material.capabilities:
        if item.run_id is None:
            yield Fact(f"Port {item.port.label} was not scanned.")
            continue
        source = (run_source(material.runs.get(item.run_id), item.run_id),)
        yield Fact(_advertised(item), sources=source)
        yield from _strongest(material, item)
        if item.findings:
            yield Fact(_audited(item), care=_faults(item), sources=source)


def _advertised(item: PortCapability) -> str:
    label = item.port.label
    # Names of protocols hold commas.
    spoken = "; ".join(item.protocols.values())
    beside = f" Protocols: {spoken}." if spoken else ""
    if not item.objects:
        # A scan may be silent about them: that none was read does not mean that none is there.
        return f"Of port {label} no power data object was read.{beside}"
    count = counted(len(item.objects), "power data object")
    return f"Port {label} advertises {count}: {_offers(item.objects)}.{beside}"


def _offers(objects: Iterable[DataObject]) -> str:
    """What the objects offer, those of one kind together."""
    kinds: dict[str, list[str]] = {}
    for item in objects:
        kinds.setdefault(uncapitalised(kind_words(item.kind)), []).extend(
            _stretch(part.voltage_min_v, part.voltage_max_v, part.current_max_a, part.power_max_w)
            for part in item.ranges
        )
    return "; ".join(f"{name} {', '.join(offers)}" for name, offers in kinds.items())


def _stretch(low: float, high: float, current_a: float | None, power_w: float | None) -> str:
    volts = plain(high, "V") if low == high else f"{low:g} to {plain(high, 'V')}"
    bound = plain(current_a, "A") if current_a is not None else plain(power_w or 0.0, "W")
    return f"{volts} ({bound})"


def _strongest(material: FactMaterial, item: PortCapability) -> Iterator[Fact]:
    for placed in material.of("top-pdo-power"):
        if placed.condition.port == item.port.label:
            text = f"Port {item.port.label} advertises at most {value_of(placed)}."
            yield placed_fact(material, placed, text)


def _audited(item: PortCapability) -> str:
    found = Counter(finding.severity for finding in item.findings)
    parts = [counted(found[name], name) for name in ("error", "warning", "note") if found[name]]
    return (
        f"The audit of port {item.port.label} against the source rules found {listed(parts)}: "
        "an indication, not a certification."
    )


def _faults(item: PortCapability) -> tuple[str, ...]:
    """What the audit found beyond notes, in its own words."""
    return tuple(finding.detail for finding in item.findings if finding.severity != "note")
