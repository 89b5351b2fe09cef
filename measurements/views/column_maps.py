"""The column maps of the bench: how files of a known shape are read, and taking one out of use."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from measurements.intake import units
from measurements.kinds import all_kinds
from measurements.models import ColumnMap


@dataclass(frozen=True, slots=True)
class Line:
    """One heading of a map: what it is read as, in words."""

    heading: str
    column: str
    unit: str


@dataclass(frozen=True, slots=True)
class MapShown:
    """A column map on its page."""

    map: ColumnMap
    kind: str
    lines: tuple[Line, ...]
    runs: int


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_safe
def column_maps(request: HttpRequest) -> HttpResponse:
    """Every map in use, what it says, and how many runs were read by it."""
    titles = {kind.slug: kind.title for kind in all_kinds()}
    maps = ColumnMap.objects.in_use().select_related("made_by").order_by("name")
    counts = dict(maps.annotate(read=Count("runs")).values_list("pk", "read"))
    shown = [
        MapShown(item, titles.get(item.kind, item.kind), _lines(item), counts[item.pk])
        for item in maps
    ]
    return render(request, "measurements/column_maps.html", {"section": "bench", "maps": shown})


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_POST
def column_map_retire(request: HttpRequest, pk: int) -> HttpResponse:
    """Apply a map to no new file; runs that were read by it stay as they are."""
    retired = get_object_or_404(ColumnMap.objects.in_use(), pk=pk)
    retired.retired_at = timezone.now()
    retired.save(update_fields=["retired_at"])
    messages.success(request, f"“{retired.name}” is applied to no new file from now on.")
    return redirect("column-maps")


def _lines(item: ColumnMap) -> tuple[Line, ...]:
    pure = item.pure
    return tuple(
        Line(
            heading=f"{text} {unit}".strip(),
            column="" if assigned is None else assigned.column,
            unit=""
            if assigned is None
            else "clock stamps"
            if assigned.unit is None
            else units.shown(assigned.unit)
            if assigned.unit
            else "",
        )
        for (text, unit), assigned in zip(pure.headings, pure.columns, strict=True)
    )
