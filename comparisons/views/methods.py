"""The methods, with what has been measured by them."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from catalog.models import Viewer
from comparisons.queries.methods import MethodUse, method_use
from measurements.kinds import all_kinds, get_kind, physical
from measurements.kinds.base import Metric
from measurements.standards.sources import SOURCES
from measurements.views.methods import Definition, definitions, notes_of


@dataclass(frozen=True, slots=True)
class Used:
    """A definition, and how its metric is used here."""

    definition: Definition
    use: MethodUse


def _used(metrics: tuple[Metric, ...], *, viewer: Viewer) -> list[Used]:
    use = method_use(metrics, viewer=viewer, tables=settings.COUNT_TABLES)
    return [Used(item, use[item.metric.key]) for item in definitions(metrics)]


@require_safe
def method_list(request: HttpRequest) -> HttpResponse:
    """Every kind of run with its metrics, and those that need no run."""
    context = {
        "section": "methods",
        "kinds": all_kinds(),
        "physical": _used(physical.METRICS, viewer=request.user),
        "sources": SOURCES.values(),
    }
    return render(request, "comparisons/method_list.html", context)


@require_safe
def method(request: HttpRequest, kind: str) -> HttpResponse:
    """One kind: how to measure, what is computed, from which source, and what it has given."""
    try:
        declared = get_kind(kind)
    except KeyError as error:
        raise Http404 from error
    context = {
        "section": "methods",
        "kind": declared,
        "metrics": _used(declared.metrics, viewer=request.user),
        "notes": notes_of(kind),
    }
    return render(request, "comparisons/method.html", context)
