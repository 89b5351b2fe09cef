"""What the fact sheet of an adapter is written from, read in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Prefetch

from catalog.models import Adapter, Device, Viewer
from catalog.queries import adapter_in_full
from comparisons.queries.bands import Band, bands
from comparisons.queries.cohorts import standing_values
from comparisons.queries.device_pairings import NamedPairing, slow_pairings_of
from comparisons.queries.judgements import Judgement, judgements
from comparisons.queries.placements import Placement, placements
from measurements.models import Flag, Run, Value
from measurements.queries import PortCapability, port_capabilities, runs_listed

# Not ranked, because an adapter without it is the better one; a sheet must not keep it back.
ONSET = "throttle-onset"


@dataclass(frozen=True, slots=True)
class FactMaterial:
    """An adapter and everything that stands of it.

    `runs` are those that gave its values, by id, with their flags and units; `shared` are the
    details of its sharing run; `onsets` when its output fell during a soak; `devices` are names
    by slug.
    """

    adapter: Adapter
    placements: tuple[Placement, ...]
    judgements: Mapping[tuple[str, str], tuple[Judgement, ...]]
    band: Band | None
    runs: Mapping[UUID, Run]
    capabilities: tuple[PortCapability, ...]
    slow_pairings: tuple[NamedPairing, ...]
    shared: Mapping[str, Any]
    onsets: tuple[Value, ...]
    devices: Mapping[str, str]

    def of(self, metric: str) -> tuple[Placement, ...]:
        """What stands of a metric, 230 V before 115 V."""
        return tuple(item for item in self.placements if item.metric.key == metric)


def fact_material(slug: str, *, viewer: Viewer, tables: bool) -> FactMaterial | None:
    """What is known of an adapter; None if this viewer may not know of it."""
    adapter = adapter_in_full(slug, viewer=viewer)
    if adapter is None:
        return None
    placed = placements(adapter, viewer=viewer, tables=tables)
    capabilities = port_capabilities(adapter)
    onsets = tuple(
        standing_values(viewer=viewer, as_of=None)
        .filter(adapter=adapter, metric=ONSET)
        .order_by("-line")
    )
    named = {item.run_id for item in (*placed, *onsets, *capabilities) if item.run_id is not None}
    sharing = [item.run_id for item in placed if item.metric.key == "sharing-total" and item.run_id]
    return FactMaterial(
        adapter=adapter,
        placements=placed,
        judgements=judgements(placed),
        band=bands([adapter], viewer=viewer).get(adapter.pk),
        runs=_runs(named, viewer=viewer),
        capabilities=capabilities,
        slow_pairings=slow_pairings_of(adapter, viewer=viewer),
        shared=_details(sharing),
        onsets=onsets,
        devices=_names(placed),
    )


def _runs(named: Iterable[UUID], *, viewer: Viewer) -> Mapping[UUID, Run]:
    flags = Prefetch("flags", Flag.objects.order_by("pk"))
    return runs_listed(viewer=viewer).prefetch_related(flags).in_bulk(list(named))


def _details(run_ids: Sequence[UUID]) -> Mapping[str, Any]:
    """What the first of the runs keeps beside its values; nothing without a run."""
    found = Run.objects.filter(pk__in=run_ids[:1]).values_list("details", flat=True)
    return dict(found[0]) if found else {}


def _names(placed: Sequence[Placement]) -> Mapping[str, str]:
    slugs = {item.condition.device for item in placed if item.condition.device}
    return dict(Device.objects.filter(slug__in=slugs).values_list("slug", "name"))
