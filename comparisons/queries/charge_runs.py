"""Which charges of a device there are to lay over each other, and how each is called."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from catalog.models import Adapter, Device, Viewer
from measurements.models import Run, Value

# More than this to choose from is a wall and no list; the address takes any.
MOST_LISTED = 100

# Every computed charge gives it.
_EVERY_CHARGE = "charge-energy"


def devices_charged(*, viewer: Viewer) -> tuple[tuple[Device, int], ...]:
    """Devices with the number of adapters whose charge of them stands. Two queries."""
    counts: dict[str, set[int]] = {}
    for device, adapter_id in (
        Value.objects.measured()
        .current()
        .visible_to(viewer)
        .filter(metric=_EVERY_CHARGE)
        .values_list("device", "adapter_id")
    ):
        counts.setdefault(device, set()).add(adapter_id)
    devices = Device.objects.filter(slug__in=counts).order_by("name")
    return tuple((device, len(counts[device.slug])) for device in devices)


def standing_charges(device: Device, *, viewer: Viewer) -> dict[str, tuple[Adapter, UUID]]:
    """Slug → adapter and run of its standing charge of the device, by name. One query."""
    rows = (
        Value.objects.current()
        .visible_to(viewer)
        .filter(metric=_EVERY_CHARGE, device=device.slug, run__isnull=False)
        .select_related("adapter__maker")
        .order_by("adapter__maker__name", "adapter__name", "pk")
    )
    return {row.adapter.slug: (row.adapter, row.run_id) for row in rows if row.run_id is not None}


def further_charges(device: Device, *, besides: Iterable[UUID], viewer: Viewer) -> tuple[Run, ...]:
    """The newest charges of the device other than those named: repeats, other ports. One query."""
    found = _charges(device, viewer=viewer).exclude(pk__in=list(besides)).order_by("-id")
    return tuple(_light(found)[:MOST_LISTED])


def charges_named(device: Device, run_ids: Sequence[UUID], *, viewer: Viewer) -> tuple[Run, ...]:
    """Those of the runs that are charges of the device which this person may see. One query."""
    return tuple(_light(_charges(device, viewer=viewer).filter(pk__in=run_ids)))


def moment_of(run: Run) -> datetime:
    """When it was measured, or else came in."""
    return run.measured_at or run.received_at


def mains_of(run: Run) -> str:
    """The mains of a run in words; empty if nobody stated them."""
    if run.mains_v is None:
        return ""
    return f"{run.mains_v:g} V" + ("" if run.mains_hz is None else f" {run.mains_hz:g} Hz")


_LINES = {"high": "230 V mains", "low": "115 V mains"}
_PARTS: tuple[Callable[[Run], str], ...] = (
    lambda run: run.port.label if run.port else "port not stated",
    lambda run: _LINES.get(run.line, "mains not stated"),
    lambda run: f"unit {run.unit.serial}",
    lambda run: f"{timezone.localtime(moment_of(run)):%Y-%m-%d}",
    lambda run: f"{timezone.localtime(moment_of(run)):%H:%M}",
    lambda run: f"run {str(run.pk)[-6:]}",
)


def labels_of(runs: Sequence[Run]) -> list[str]:
    """A name for each run: its adapter, and what tells it from others of the same adapter."""
    labels = []
    for run in runs:
        parts, rivals = [str(run.adapter)], [item for item in runs if item != run]
        rivals = [item for item in rivals if item.adapter_id == run.adapter_id]
        for part in _PARTS:
            if any(part(item) != part(run) for item in rivals):
                parts.append(part(run))
                rivals = [item for item in rivals if part(item) == part(run)]
        labels.append(", ".join(parts))
    return labels


def _charges(device: Device, *, viewer: Viewer) -> QuerySet[Run]:
    computed = Value.objects.filter(metric=_EVERY_CHARGE, device=device.slug).values("run")
    return Run.objects.visible_to(viewer).filter(
        pk__in=computed,
        kind="charge",
        state=Run.State.READY,
        standing__in=[Run.Standing.ACCEPTED, Run.Standing.SUPERSEDED],
    )


def _light(runs: QuerySet[Run]) -> QuerySet[Run]:
    return runs.select_related("adapter__maker", "port", "unit").defer(
        "trace", "plot", "problems", "reading_notes", "details"
    )
