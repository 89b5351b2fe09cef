"""What the bench found of one adapter beside places: grids, matrices, listings, charges."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.db.models import F

from catalog.models import Adapter, Device, Viewer
from measurements.kinds import all_kinds, all_metrics, get_kind
from measurements.kinds.base import Cell, Condition, Matrix, ValueMap
from measurements.models import Run, Value
from measurements.queries import condition_in_words

_LINES = ("high", "low", "")
_PARTS = {
    "output_v": ("Output", "{:g} V"),
    "load_percent": ("Load", "{:g} %"),
    "load": ("Load", "{}"),
    "device": ("Device", "{}"),
    "port": ("Port", "{}"),
    "sensor": ("Sensor", "{}"),
}


@dataclass(frozen=True, slots=True)
class KindDetails:
    """What is drawn of one kind, as plain JSON for the template tags, and the runs it is from."""

    title: str
    kind: str
    matrices: tuple[dict[str, Any], ...]
    listings: tuple[dict[str, Any], ...] = ()
    runs: tuple[Run, ...] = ()


@dataclass(frozen=True, slots=True)
class Charge:
    """A device that the adapter charged in an accepted run."""

    device: str
    name: str


def value_grids(adapter: Adapter) -> tuple[KindDetails, ...]:
    """Standing values of an adapter as grids, as its kinds ask for them. Two queries."""
    mapped = [(kind, value_map) for kind in all_kinds() for value_map in kind.maps]
    metrics = {key for _, value_map in mapped for key in value_map.metrics}
    rows = list(
        Value.objects.measured()
        .current()
        .filter(adapter=adapter, metric__in=metrics, apart="")
        .order_by("pk")
    )
    slugs = {row.device for row in rows if row.device}
    names = dict(Device.objects.filter(slug__in=slugs).values_list("slug", "name"))
    found: dict[str, list[dict[str, Any]]] = {}
    for kind, value_map in mapped:
        for line in _LINES:
            held = [row for row in rows if row.metric in value_map.metrics and row.line == line]
            if grid := _grid(value_map, held, line=line, names=names):
                found.setdefault(kind.slug, []).append(asdict(grid))
    return tuple(
        KindDetails(get_kind(slug).title, slug, tuple(grids)) for slug, grids in found.items()
    )


def _grid(
    value_map: ValueMap, rows: Sequence[Value], *, line: str, names: Mapping[str, str]
) -> Matrix | None:
    """The grid of one mains line; None without a value in it. `names` are of the devices."""
    declared = all_metrics()[value_map.metrics[0]]
    mixed = False
    placed: dict[tuple[Any, Any], Value] = {}
    for row in rows:
        along = getattr(row, value_map.rows)
        across = getattr(row, value_map.columns) if value_map.columns else row.metric
        if along in (None, "") or across in (None, ""):
            continue
        if value_map.columns == "load_percent":
            across = round(float(across))  # a set load is never met exactly
        # Of two points that share a cell, the one nearer to the round load is shown.
        rival = placed.get((along, across))
        if rival is None or _off(row, across) < _off(rival, across):
            placed[along, across] = row
    if not placed:
        return None
    down = sorted({key[0] for key in placed})
    if value_map.columns:
        over = sorted({key[1] for key in placed})
        over_title, form = _PARTS[value_map.columns]
        columns = tuple(form.format(item) for item in over)
    else:
        over = [key for key in value_map.metrics if any(held == key for _, held in placed)]
        found = [all_metrics()[key] for key in over]
        mixed = len({metric.unit for metric in found}) > 1
        over_title = "Quantity"
        columns = tuple(
            f"{metric.title}, {metric.unit}" if mixed else metric.title for metric in found
        )
    row_title, form = _PARTS[value_map.rows]
    where = f", {condition_in_words(Condition(line=line))}" if line else ""
    return Matrix(
        key=f"{value_map.metrics[0]}-{line}",
        title=f"{value_map.title}{where}",
        row_title=row_title,
        column_title=over_title,
        unit="" if mixed else declared.unit,
        decimals=declared.decimals,
        better="" if mixed else declared.better,
        rows=tuple(names.get(str(item), form.format(item)) for item in down),
        columns=columns,
        cells=tuple(
            tuple(_cell(placed.get((along, across)), mixed=mixed) for across in over)
            for along in down
        ),
    )


def _cell(row: Value | None, *, mixed: bool) -> Cell:
    """A value as a cell; among several units a text, because shades would compare them."""
    if row is None:
        return Cell()
    if mixed:
        return Cell(text=f"{row.value:.{all_metrics()[row.metric].decimals}f}")
    return Cell(value=row.value)


def _off(row: Value, across: Any) -> float:
    return abs(row.load_percent - across) if isinstance(across, int) and row.load_percent else 0.0


def standing_matrices(runs: Iterable[Run]) -> tuple[KindDetails, ...]:
    """Matrices and prominent listings of the newest accepted run of each kind, line and device.

    `runs` are the adapter's, newest first. Kinds whose values are laid out as grids give no
    matrices: their runs hold the same numbers. One query.
    """
    gridded = {kind.slug for kind in all_kinds() if kind.maps}
    newest: dict[tuple[str, str, str], Run] = {}
    for run in runs:
        if run.standing == Run.Standing.ACCEPTED:
            device = str(run.method_fields.get("device", ""))
            newest.setdefault((run.kind, run.line, device), run)
    details = dict(
        Run.objects.filter(pk__in=[run.pk for run in newest.values()]).values_list("pk", "details")
    )
    found: dict[str, list[_Shown]] = {}
    for (kind, _, _), run in newest.items():
        held = details[run.pk]
        matrices = [] if kind in gridded else held.get("matrices", [])
        # A run from before listings could be prominent does not say so.
        listings = [item for item in held.get("listings", []) if item.get("prominent")]
        if matrices or listings:
            found.setdefault(kind, []).append(_Shown(run, matrices, listings))
    return tuple(
        KindDetails(
            title=get_kind(kind).title,
            kind=kind,
            matrices=tuple(item for each in shown for item in each.of_line(each.matrices)),
            listings=tuple(item for each in shown for item in each.of_line(each.listings)),
            runs=tuple(each.run for each in shown),
        )
        for kind, shown in sorted(found.items())
    )


@dataclass(frozen=True, slots=True)
class _Shown:
    run: Run
    matrices: list[dict[str, Any]]
    listings: list[dict[str, Any]]

    def of_line(self, drawn: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """The drawings with the mains line of the run in their titles."""
        line = self.run.line
        where = f"{condition_in_words(Condition(line=line))}: " if line else ""
        return ({**item, "title": where + item["title"]} for item in drawn)


def charges(adapter: Adapter, *, viewer: Viewer) -> tuple[Charge, ...]:
    """The devices whose charge by this adapter stands. One query."""
    slugs = (
        Run.objects.visible_to(viewer)
        .filter(adapter=adapter, kind="charge", standing=Run.Standing.ACCEPTED)
        .annotate(device=F("method_fields__device"))
        .values_list("device", flat=True)
    )
    names = Device.objects.filter(slug__in=[str(slug) for slug in slugs])
    return tuple(Charge(item.slug, item.name) for item in names.order_by("name"))
