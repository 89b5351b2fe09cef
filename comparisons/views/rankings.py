"""The list of rankings, and one ranking as page and as file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from comparisons.forms import RankingForm, unknown_parameters
from comparisons.queries.bands import Band, bands
from comparisons.queries.placements import HEADLINES, placement_in
from comparisons.queries.rankings import (
    RankedRow,
    Ranking,
    adapters_ranked,
    count_of_tables,
    population,
    ranking,
)
from comparisons.queries.tables import PHYSICAL_SECTION
from comparisons.views.csv_files import csv_response, ranking_rows
from measurements.kinds import all_kinds, all_metrics, kind_of_metric, physical
from measurements.kinds.base import Metric
from measurements.standards.sources import SOURCES
from measurements.views.methods import Definition

ROWS_A_PAGE = 100


@dataclass(frozen=True, slots=True)
class Listed:
    """A metric of the list, and how many adapters have a comparable value of it."""

    metric: Metric
    count: int


@dataclass(frozen=True, slots=True)
class TieredRow:
    """A row with the band of its adapter."""

    row: RankedRow
    band: Band | None


@require_safe
def ranking_list(request: HttpRequest) -> HttpResponse:
    """Every metric that is ranked, headlines first."""
    counts = adapters_ranked(viewer=request.user, tables=settings.COUNT_TABLES)

    def listed(metrics: Any) -> list[Listed]:
        return [
            Listed(metric, counts.get(metric.key, 0))
            for metric in metrics
            if metric.ranked and metric.better
        ]

    metrics = all_metrics()
    sections = [(kind.title, listed(kind.metrics)) for kind in all_kinds()]
    sections.append((PHYSICAL_SECTION, listed(physical.METRICS)))
    return render(
        request,
        "comparisons/ranking_list.html",
        {
            "headlines": listed(metrics[key] for key in HEADLINES if key in metrics),
            "sections": [(title, found) for title, found in sections if found],
            "section": "rankings",
        },
    )


@require_safe
def ranking_page(request: HttpRequest, metric: str) -> HttpResponse:
    """One ranking, a page of it."""
    declared = all_metrics().get(metric)
    if declared is None:
        raise Http404
    context = _about(declared)
    if not (declared.ranked and declared.better):
        return render(request, "comparisons/not_ranked.html", context, status=404)
    form = RankingForm(request.GET, metric=declared, viewer=request.user)
    context["form"] = form
    if not _is_usable(form, request):
        return render(request, "comparisons/ranking.html", context, status=400)
    if form.condition_chosen is None:
        context["of_tables"] = count_of_tables(
            declared, None, viewer=request.user, filters=form.filters, as_of=form.moment
        )
        return render(request, "comparisons/ranking.html", context)
    found = _ranked(form, request, start=form.cleaned_data["start"] or 0, limit=ROWS_A_PAGE)
    if found.start and found.start >= len(found.cohort):
        form.add_error("start", f"The ranking has {len(found.cohort)} rows.")
        return render(request, "comparisons/ranking.html", context, status=400)
    held = bands([row.adapter for row in found.rows], viewer=request.user, as_of=form.moment)
    whole = population(
        declared,
        form.condition_chosen,
        viewer=request.user,
        filters=form.filters,
        as_of=form.moment,
        tables=form.counts,
    )
    marked = form.cleaned_data["mark"]
    place = found.cohort.position_of(marked.pk) if marked else None
    context |= {
        "ranking": found,
        "cohort": found.cohort,
        "rows": [TieredRow(row, held.get(row.adapter.pk)) for row in found.rows],
        "population": whole,
        "not_tested": max(0, whole.adapters - len(found.cohort) - _only_apart(found)),
        "of_tables": found.of_tables,
        "last": found.start + len(found.rows),
        "previous_start": max(0, found.start - ROWS_A_PAGE) if found.start else None,
        "marked": marked,
        "marked_start": (
            place // ROWS_A_PAGE * ROWS_A_PAGE
            if place is not None and not found.start <= place < found.start + len(found.rows)
            else None
        ),
        "marked_place": (
            placement_in(
                found.cohort, marked, viewer=request.user, as_of=form.moment, tables=form.counts
            )
            if marked
            else None
        ),
    }
    return render(request, "comparisons/ranking.html", context)


def _about(metric: Metric) -> dict[str, Any]:
    """What its page says of a metric whoever has a value of it."""
    return {
        "metric": metric,
        "section": "rankings",
        "kind": None if metric in physical.METRICS else kind_of_metric(metric.key),
        "definitions": [Definition(metric, SOURCES[metric.source])],
    }


def _only_apart(found: Ranking) -> int:
    """How many adapters have nothing but a value that is set apart."""
    return sum(found.cohort.position_of(item.adapter.pk) is None for item in found.apart)


@require_safe
def ranking_csv(request: HttpRequest, metric: str) -> HttpResponse:
    """Every row of exactly the view that the same query shows as a page."""
    declared = all_metrics().get(metric)
    if declared is None or not (declared.ranked and declared.better):
        raise Http404
    form = RankingForm(request.GET, metric=declared, viewer=request.user)
    if not _is_usable(form, request):
        context = {**_about(declared), "form": form}
        return render(request, "comparisons/ranking.html", context, status=400)
    if form.condition_chosen is None:
        rows = ranking_rows(None)
        name = declared.key
    else:
        rows = ranking_rows(_ranked(form, request, start=0, limit=None))
        name = " ".join([declared.key, *map(str, form.condition_chosen.as_json().values())])
    return csv_response(rows, name=name)


def _is_usable(form: RankingForm, request: HttpRequest) -> bool:
    """Whether the query can be answered; its mistakes are then on the form."""
    form.is_valid()
    for sentence in unknown_parameters(request.GET, known=form.fields):
        form.add_error(None, sentence)
    return not form.errors


def _ranked(form: RankingForm, request: HttpRequest, *, start: int, limit: int | None) -> Ranking:
    assert form.condition_chosen is not None
    return ranking(
        form.metric,
        form.condition_chosen,
        viewer=request.user,
        filters=form.filters,
        as_of=form.moment,
        tables=form.counts,
        start=start,
        limit=limit,
    )
