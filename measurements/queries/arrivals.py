"""The column maps that apply to files."""

from __future__ import annotations

from measurements.intake import column_maps
from measurements.intake.evidence import Evidence
from measurements.models import ColumnMap, Run

Maps = dict[str, tuple[column_maps.ColumnMap, ...]]


def column_maps_in_use() -> Maps:
    """The maps of the bench by kind, the newest first. One query."""
    found: dict[str, list[column_maps.ColumnMap]] = {}
    for item in ColumnMap.objects.in_use().order_by("-pk"):
        found.setdefault(item.kind, []).append(item.pure)
    return {kind: tuple(maps) for kind, maps in found.items()}


def column_maps_of(run: Run) -> Maps:
    """The map by which a run was read before, so that it is read alike; else those in use."""
    if run.column_map is not None:
        return {run.kind: (run.column_map.pure,)}
    return column_maps_in_use()


def column_map_applied(run: Run, evidence: Evidence | None) -> int | None:
    """The key of the map by which a run was read; None where none was needed."""
    if run.column_map_id is not None:
        return run.column_map_id
    if evidence is None or not evidence.map_name:
        return None
    applied = ColumnMap.objects.in_use().filter(kind=run.kind, name=evidence.map_name)
    return applied.values_list("pk", flat=True).first()
