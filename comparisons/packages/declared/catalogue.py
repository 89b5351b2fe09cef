"""The catalogue: makers, protocols, adapters with ports and claims, units, devices."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from decimal import Decimal

from catalog.models import Adapter, Device, LabelClaim, Maker, Port, Protocol, Unit
from comparisons.packages.columns import Column
from comparisons.packages.scope import Scope
from comparisons.packages.site import Site, write_all
from comparisons.packages.tables import Cells, Reference, Source, Table
from measurements.management.catalogue import ADAPTER_COLUMNS

OF_ADAPTER = Reference(("adapter",), "adapters", ("slug",))
_ADAPTER = Column("adapter", "string", "Slug of the adapter.", required=True)
# What the intake of adapters reads, in its order.
_OF_ADAPTERS = {
    "slug": Column("slug", "string", "Short name in addresses.", required=True),
    "maker": Column("maker", "string", "Who makes it, by name.", required=True),
    "name": Column("name", "string", "What the maker calls it.", required=True),
    "model_number": Column("model_number", "string", "Model number as printed."),
    "rated_power_w": Column("rated_power_w", "number", "Rated power.", required=True, unit="W"),
    "supply": Column(
        "supply", "string", "Class of external power supply: single, adaptive or multiple."
    ),
    "mains_min_v": Column("mains_min_v", "number", "Lowest mains voltage.", unit="V"),
    "mains_max_v": Column("mains_max_v", "number", "Highest mains voltage.", unit="V"),
    "length_mm": Column("length_mm", "number", "Length of the body.", unit="mm"),
    "width_mm": Column("width_mm", "number", "Width of the body.", unit="mm"),
    "height_mm": Column("height_mm", "number", "Height of the body without plug.", unit="mm"),
    "mass_g": Column("mass_g", "number", "Mass.", unit="g"),
    "enclosure": Column("enclosure", "string", "Material that a hand touches."),
    "plug": Column("plug", "string", "Mains plug."),
    "released_on": Column("released_on", "date", "When it came to market."),
    "price": Column("price", "number", "Price in that currency."),
    "currency": Column("currency", "string", "Currency of the price (ISO 4217)."),
    "publish_on": Column("publish_on", "date", "Day from which readers see it."),
}


def _makers(scope: Scope) -> Iterator[Cells]:
    shown = Maker.objects.filter(pk__in=scope.adapters.order_by().values("maker"))
    yield from shown.order_by("slug").values_list("slug", "name")


def _restore_makers(source: Source, site: Site) -> None:
    for row in source.rows("makers"):
        maker, _ = Maker.objects.update_or_create(slug=row["slug"], defaults={"name": row["name"]})
        site.makers[maker.name] = maker.pk


def _protocols(_scope: Scope) -> Iterator[Cells]:
    yield from Protocol.objects.order_by("slug").values_list("slug", "name", "standard")


def _restore_protocols(source: Source, site: Site) -> None:
    for row in source.rows("protocols"):
        said = {"name": row["name"], "standard": row["standard"] or ""}
        protocol, _ = Protocol.objects.update_or_create(slug=row["slug"], defaults=said)
        site.protocols[protocol.slug] = protocol.pk


def _adapters(scope: Scope) -> Iterator[Cells]:
    for adapter in scope.adapters.select_related("maker").iterator():
        yield tuple(
            adapter.maker.name if name == "maker" else getattr(adapter, name)
            for name in ADAPTER_COLUMNS
        )


_TEXTS = ("model_number", "supply", "enclosure", "plug")


def _restore_adapters(source: Source, site: Site) -> None:
    times = {row["adapter"]: row for row in source.rows("adapter_times")}
    rows = []
    for row in source.rows("adapters"):
        said = {name: row[name] or "" if name in _TEXTS else row[name] for name in ADAPTER_COLUMNS}
        said["maker_id"] = site.makers[said.pop("maker")]
        said["price"] = None if row["price"] is None else Decimal(repr(row["price"]))
        rows.append(Adapter(**said, created_at=times[row["slug"]]["created_at"]))
    write_all(Adapter, rows)
    for row_of in rows:
        row_of.changed_at = times[row_of.slug]["changed_at"]  # an insert puts the present moment
    Adapter.objects.bulk_update(rows, ["changed_at"], batch_size=500)
    site.adapters |= dict(Adapter.objects.values_list("slug", "pk"))


def _adapter_times(scope: Scope) -> Iterator[Cells]:
    yield from scope.adapters.values_list("slug", "created_at", "changed_at").iterator()


def _ports(scope: Scope) -> Iterator[Cells]:
    ports = Port.objects.filter(adapter__in=scope.adapters.order_by().values("pk"))
    for port in (
        ports.select_related("adapter")
        .prefetch_related("protocols")
        .order_by("adapter__slug", "position", "label")
    ):
        slugs = sorted(protocol.slug for protocol in port.protocols.all())
        yield port.adapter.slug, port.label, port.connector, port.rated_power_w, ";".join(slugs)


def _restore_ports(source: Source, site: Site) -> None:
    positions: Counter[str] = Counter()
    spoken = []
    for row in source.rows("ports"):
        port = Port(
            adapter_id=site.adapters[row["adapter"]],
            label=row["label"],
            connector=row["connector"],
            rated_power_w=row["rated_power_w"],
            position=positions[row["adapter"]],
        )
        positions[row["adapter"]] += 1
        site.ports[row["adapter"], row["label"]] = port
        spoken += [(port, slug) for slug in (row["protocols"] or "").split(";") if slug]
    write_all(Port, site.ports.values())
    through = Port.protocols.through
    write_all(
        through,
        (through(port_id=port.pk, protocol_id=site.protocols[slug]) for port, slug in spoken),
    )


def _claims(scope: Scope) -> Iterator[Cells]:
    numbers: Counter[str] = Counter()
    claims = LabelClaim.objects.filter(adapter__in=scope.adapters.order_by().values("pk"))
    for claim in claims.select_related("adapter", "port").order_by("adapter__slug", "pk"):
        slug = claim.adapter.slug
        numbers[slug] += 1
        port = claim.port.label if claim.port else None
        numeric = (claim.voltage_v, claim.current_a)
        yield slug, numbers[slug], port, claim.text, *numeric, claim.combination, claim.power_w


def _restore_claims(source: Source, site: Site) -> None:
    write_all(
        LabelClaim,
        (
            LabelClaim(
                adapter_id=site.adapters[row["adapter"]],
                port=site.ports[row["adapter"], row["port"]] if row["port"] else None,
                text=row["text"] or "",
                voltage_v=row["voltage_v"],
                current_a=row["current_a"],
                combination=row["combination"] or "",
                power_w=row["power_w"],
            )
            for row in source.rows("claims")
        ),
    )


def _units(scope: Scope) -> Iterator[Cells]:
    # Where a sample came from and notes about it are shown to nobody outside.
    of_runs = Unit.objects.filter(pk__in=scope.runs.order_by().values("unit"))
    yield from of_runs.order_by("adapter__slug", "serial").values_list("adapter__slug", "serial")


def _restore_units(source: Source, site: Site) -> None:
    found: dict[tuple[str, str], Unit] = {}
    for row in source.rows("units"):
        adapter_id = site.adapters[row["adapter"]]
        found[row["adapter"], row["serial"]] = Unit(adapter_id=adapter_id, serial=row["serial"])
    write_all(Unit, found.values())
    site.units |= {key: unit.pk for key, unit in found.items()}


_DEVICE_FACTS = ("battery_wh", "max_power_w", "voltage_min_v", "voltage_max_v")


def _devices(scope: Scope) -> Iterator[Cells]:
    yield from scope.devices.values_list(
        "slug", "name", "kind", *_DEVICE_FACTS, "note", "confirmed"
    )


def _restore_devices(source: Source, _site: Site) -> None:
    for row in source.rows("devices"):
        said = {"kind": row["kind"] or "", "note": row["note"] or "", "name": row["name"]}
        said |= {name: row[name] for name in (*_DEVICE_FACTS, "confirmed")}
        Device.objects.update_or_create(slug=row["slug"], defaults=said)


MAKERS = Table(
    "makers",
    "Makers",
    (
        Column("slug", "string", "Short name in addresses.", required=True),
        Column("name", "string", "Name.", required=True),
    ),
    key=("slug",),
    rows=_makers,
    restore=_restore_makers,
)
PROTOCOLS = Table(
    "protocols",
    "Charging protocols of open standards",
    (
        Column("slug", "string", "Short name.", required=True),
        Column("name", "string", "Name.", required=True),
        Column("standard", "string", "Where it is defined."),
    ),
    key=("slug",),
    rows=_protocols,
    restore=_restore_protocols,
)
ADAPTERS = Table(
    "adapters",
    "Adapters, as their makers state them",
    tuple(_OF_ADAPTERS[name] for name in ADAPTER_COLUMNS),
    key=("slug",),
    rows=_adapters,
    restore=_restore_adapters,
    references=(Reference(("maker",), "makers", ("name",)),),
)
ADAPTER_TIMES = Table(
    "adapter_times",
    "When adapters were written down and changed",
    (
        _ADAPTER,
        Column("created_at", "datetime", "When it was written down.", required=True),
        Column("changed_at", "datetime", "When its facts last changed.", required=True),
    ),
    key=("adapter",),
    rows=_adapter_times,
    references=(OF_ADAPTER,),
)
PORTS = Table(
    "ports",
    "Ports of adapters, in their order",
    (
        _ADAPTER,
        Column("label", "string", "Label of the port.", required=True),
        Column("connector", "string", "usb-c, usb-a or captive-usb-c.", required=True),
        Column("rated_power_w", "number", "Rated power of this port alone.", unit="W"),
        Column("protocols", "string", "Slugs of protocols, parted by semicolons."),
    ),
    key=("adapter", "label"),
    rows=_ports,
    restore=_restore_ports,
    references=(OF_ADAPTER,),
)
CLAIMS = Table(
    "claims",
    "What is printed on adapters",
    (
        _ADAPTER,
        Column("number", "integer", "Place among the claims of the adapter.", required=True),
        Column("port", "string", "Label of the port that it is about."),
        Column("text", "string", "As printed.", required=True),
        Column("voltage_v", "number", "Voltage.", unit="V"),
        Column("current_a", "number", "Current at that voltage.", unit="A"),
        Column("combination", "string", "Ports in use together, joined by plus signs."),
        Column("power_w", "number", "Power that the port keeps then.", unit="W"),
    ),
    key=("adapter", "number"),
    rows=_claims,
    restore=_restore_claims,
    references=(OF_ADAPTER,),
)
UNITS = Table(
    "units",
    "Physical samples that runs were made with",
    (_ADAPTER, Column("serial", "string", "Serial of the sample.", required=True)),
    key=("adapter", "serial"),
    rows=_units,
    restore=_restore_units,
    references=(OF_ADAPTER,),
)
DEVICES = Table(
    "devices",
    "Reference devices that adapters are tried with",
    (
        Column("slug", "string", "Short name.", required=True),
        Column("name", "string", "Name.", required=True),
        Column("kind", "string", "Kind of device."),
        Column("battery_wh", "number", "Energy of its battery.", unit="Wh"),
        Column("max_power_w", "number", "Highest charging power.", unit="W"),
        Column("voltage_min_v", "number", "Takes that power from this voltage.", unit="V"),
        Column("voltage_max_v", "number", "Takes that power up to this voltage.", unit="V"),
        Column("note", "string", "A remark."),
        Column("confirmed", "boolean", "Whether it is listed.", required=True),
    ),
    key=("slug",),
    rows=_devices,
    restore=_restore_devices,
)
CATALOGUE = (MAKERS, PROTOCOLS, ADAPTERS, ADAPTER_TIMES, PORTS, CLAIMS, UNITS, DEVICES)
