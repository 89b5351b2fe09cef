"""The adapters and ports that a package brings along: ``adapters.csv`` and ``ports.csv``."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from catalog.actions import PortFacts, get_maker, save_adapter
from catalog.models import Adapter, Protocol
from measurements.management.bulk import Refusal, require_columns
from measurements.management.packages import Package, PackageError, Row

ADAPTER_COLUMNS = (
    *("slug", "maker", "name", "model_number", "rated_power_w", "supply"),
    *("mains_min_v", "mains_max_v", "length_mm", "width_mm", "height_mm", "mass_g"),
    *("enclosure", "plug", "released_on", "price", "currency", "publish_on"),
)
PORT_COLUMNS = ("adapter", "label", "connector", "rated_power_w", "protocols")
_NUMBERS = frozenset(name for name in ADAPTER_COLUMNS if name.endswith(("_v", "_mm", "_g", "_w")))


@dataclass(slots=True)
class Brought:
    """What became of the adapters: those written down, those known before, and refusals.

    `ports_added` are ports that a known adapter did not have yet, as ``slug port``.
    """

    added: list[str] = field(default_factory=list)
    known: list[str] = field(default_factory=list)
    ports_added: list[str] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)


def bring_adapters(package: Package) -> Brought:
    """Write down the package's adapters that are not known yet; known ones stay as they are.

    A port whose adapter is known without one of that label is added to it. Raises
    `PackageError` when a table cannot be read.
    """
    brought = Brought()
    ports = _ports(package)
    rows: tuple[Row, ...] = ()
    if package.has("adapters.csv"):
        needed = ("maker", "name", "rated_power_w")
        rows = _table(package, "adapters.csv", ADAPTER_COLUMNS, needed)
    for row in rows:
        slug = row.cells.get("slug") or slugify(f"{row.cells['maker']} {row.cells['name']}")
        if Adapter.objects.filter(slug=slug).exists():
            brought.known.append(slug)
            continue
        try:
            _add(row, slug=slug, ports=ports.get(slug, ()))
        except ValidationError as error:
            brought.refusals += _refusals(row, error)
            ports.pop(slug, None)  # what is wrong with it is said already
        else:
            brought.added.append(slug)
    for slug in [slug for slug in ports if slug not in brought.added]:
        _complete(slug, ports[slug], brought=brought)
    return brought


def _complete(slug: str, rows: Sequence[Row], *, brought: Brought) -> None:
    """Add the ports that a known adapter lacks; those that it has stay as they are."""
    adapter = Adapter.objects.filter(slug=slug).first()
    if adapter is None:
        brought.refusals += [
            Refusal(
                "ports.csv",
                row.line,
                "adapter",
                f"No adapter is called “{slug[:160]}” here, nor in adapters.csv. Add it there.",
            )
            for row in rows
        ]
        return
    present = [
        PortFacts(
            port.label,
            port.connector,
            port.rated_power_w,
            tuple(protocol.slug for protocol in port.protocols.all()),
        )
        for port in adapter.ports.prefetch_related("protocols").order_by("position")
    ]
    labels = {port.label for port in present}
    lacking = [row for row in rows if row.cells["label"] not in labels]
    if not lacking:
        return
    try:
        save_adapter(adapter, ports=[*present, *(_port(row) for row in lacking)])
    except ValidationError as error:
        brought.refusals += [
            Refusal("ports.csv", lacking[0].line, "", sentence) for sentence in error.messages
        ]
    else:
        brought.ports_added += [f"{slug} {row.cells['label']}" for row in lacking]


def _table(
    package: Package, name: str, known: Sequence[str], needed: Sequence[str]
) -> tuple[Row, ...]:
    rows = package.rows(name)
    try:
        require_columns(rows, known=known, needed=needed)
    except PackageError as error:
        raise PackageError(f"{name}: {error}") from error
    return rows


def _ports(package: Package) -> dict[str, list[Row]]:
    grouped: dict[str, list[Row]] = defaultdict(list)
    if package.has("ports.csv"):
        for row in _table(package, "ports.csv", PORT_COLUMNS, ("adapter", "label", "connector")):
            grouped[row.cells["adapter"]].append(row)
    return dict(grouped)


def _number(cell: str, row: Row) -> str:
    return cell.replace(",", ".") if row.decimal_comma else cell


@transaction.atomic
def _add(row: Row, *, slug: str, ports: Sequence[Row]) -> None:
    facts = {
        name: _number(cell, row) if name in _NUMBERS else cell
        for name, cell in row.cells.items()
        if cell and name not in ("maker", "slug")
    }
    if not row.cells["maker"]:
        raise ValidationError({"maker": "Name the maker."})
    adapter = Adapter(maker=get_maker(row.cells["maker"]), slug=slug, **facts)
    save_adapter(adapter, ports=[_port(port) for port in ports])


def _port(row: Row) -> PortFacts:
    power = _number(row.cells.get("rated_power_w", ""), row)
    protocols = tuple(
        slug.strip() for slug in row.cells.get("protocols", "").split(";") if slug.strip()
    )
    known = set(Protocol.objects.filter(slug__in=protocols).values_list("slug", flat=True))
    if unknown := [slug for slug in protocols if slug not in known]:
        raise ValidationError(
            f"Port {row.cells['label']} (ports.csv, line {row.line}): no protocol is called "
            f"{', '.join(unknown)} here. An editor can add it."
        )
    try:
        rated_power_w = float(power) if power else None
    except ValueError as error:
        raise ValidationError(
            f"Port {row.cells['label']} (ports.csv, line {row.line}): "
            f"“{power}” is not a power in W."
        ) from error
    return PortFacts(row.cells["label"], row.cells["connector"], rated_power_w, protocols)


def _refusals(row: Row, error: ValidationError) -> list[Refusal]:
    if hasattr(error, "error_dict"):
        return [
            Refusal("adapters.csv", row.line, "" if name == "__all__" else name, sentence)
            for name, sentences in error.message_dict.items()
            for sentence in sentences
        ]
    return [Refusal("adapters.csv", row.line, "", sentence) for sentence in error.messages]
