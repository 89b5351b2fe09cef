"""The list of rankings, and one ranking as page and as file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from comparisons.bulk.rankings import RANKING_COLUMNS, Record, ranking_records, record_batches
from comparisons.forms import RankingForm, unknown_parameters
from comparisons.forms.pairs import USUAL
from comparisons.queries.bands import Band, bands
from comparisons.queries.placements import HEADLINES, placement_in
from comparisons.queries.ranking_changes import ranking_changes
from comparisons.queries.rankings import (
    Evidence,
    RankedRow,
    Ranking,
    adapters_ranked,
    count_of_tables,
    evidence,
    not_tested,
    population,
    published_limits,
    ranking,
)
from comparisons.queries.tables import PHYSICAL_SECTION
from comparisons.views.csv_files import csv_response, parquet_response, ranking_rows
from measurements.kinds import all_kinds, all_metrics, kind_of_metric, physical
from measurements.kinds.base import Metric
from measurements.queries import condition_in_words
from measurements.standards.sources import SOURCES
from measurements.views.methods import Definition

ROWS_A_PAGE = 100
# Adapters that are named as not tested; how many there are in all stands beside them.
NOT_TESTED_NAMED = 60
# Values set apart that are listed; all of them stand in the JSON of the view.
APART_LISTED = 60


@dataclass(frozen=True, slots=True)
class Listed:
    """A metric of the list, and how many adapters have a comparable value of it."""

    metric: Metric
    count: int


@dataclass(frozen=True, slots=True)
class TieredRow:
    """A row with the band of its adapter and what its value rests on."""

    row: RankedRow
    band: Band | None
    evidence: Evidence | None


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
    asked = _asked(form, request)
    held = bands([row.adapter for row in found.rows], viewer=request.user, as_of=form.moment)
    rests_on = evidence(found, viewer=request.user, as_of=form.moment)
    whole = population(declared, form.condition_chosen, **asked)
    missing = max(0, whole.adapters - len(found.cohort) - _only_apart(found))
    marked = form.cleaned_data["mark"]
    place = found.cohort.position_of(marked.pk) if marked else None
    context |= {
        "ranking": found,
        "cohort": found.cohort,
        "rows": [
            TieredRow(row, held.get(row.adapter.pk), rests_on.get(row.adapter.pk))
            for row in found.rows
        ],
        "rests_on_runs": bool(rests_on),
        "population": whole,
        "not_tested": missing,
        "not_tested_named": (
            not_tested(declared, form.condition_chosen, limit=NOT_TESTED_NAMED, **asked)
            if missing
            else []
        ),
        "apart": found.apart[:APART_LISTED],
        "limits": published_limits(found),
        "changes": (
            ranking_changes(found.cohort, since=form.moment_before, **asked)
            if form.moment_before
            else None
        ),
        "permalink": f"{request.path}?{form.permanent_query}",
        "citation": _citation(request, form, found, methods=whole.methods),
        "beside": _beside(form),
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


def _beside(form: RankingForm) -> str:
    """The query of this ranking drawn against another: size where the metric is not about it."""
    condition = form.condition_chosen.key if form.condition_chosen else ""
    axis = "x" if form.metric.key == USUAL["x"] else "y"
    named = {**USUAL, axis: form.metric.key, f"{axis}_condition": condition}
    when = form.cleaned_data["as_of"]
    parts = {**named, **form.filter_query, "as_of": when, "tables": form.tables_said}
    return urlencode({name: part for name, part in parts.items() if part})


def _citation(
    request: HttpRequest, form: RankingForm, found: Ranking, *, methods: tuple[str, ...]
) -> str:
    """How the view is named so that whoever reads of it finds the same numbers."""
    cohort = found.cohort
    words = f", {condition_in_words(cohort.condition)}" if cohort.condition.as_json() else ""
    count = len(cohort)
    return (
        f"Brickledger at {request.get_host()}: {form.metric.title}{words}; "
        f"{count} adapter{'' if count == 1 else 's'}{form.filters_in_words}; "
        f"method version {', '.join(methods)}; {form.day_in_words}. "
        f"{request.build_absolute_uri(request.path)}?{form.permanent_query} "
        f"(retrieved {timezone.now().date()})"
    )


@require_safe
def ranking_file(request: HttpRequest, metric: str, suffix: str) -> HttpResponse:
    """Every row of exactly the view that the same query shows as a page, as CSV or Parquet."""
    declared = all_metrics().get(metric)
    if declared is None or not (declared.ranked and declared.better):
        raise Http404
    form = RankingForm(request.GET, metric=declared, viewer=request.user)
    if not _is_usable(form, request):
        context = {**_about(declared), "form": form}
        return render(request, "comparisons/ranking.html", context, status=400)
    records: Iterator[Record] = iter(())
    name = declared.key
    if form.condition_chosen is not None:
        found = _ranked(form, request, start=0, limit=None)
        rests_on = evidence(found, viewer=request.user, as_of=form.moment)
        records = ranking_records(found, rests_on)
        name = " ".join([declared.key, *map(str, form.condition_chosen.as_json().values())])
    if suffix == "csv":
        return csv_response(ranking_rows(records), name=name)
    return parquet_response(RANKING_COLUMNS, record_batches(records), name=name)


def _is_usable(form: RankingForm, request: HttpRequest) -> bool:
    """Whether the query can be answered; its mistakes are then on the form."""
    form.is_valid()
    for sentence in unknown_parameters(request.GET, known=form.fields):
        form.add_error(None, sentence)
    return not form.errors


def _ranked(form: RankingForm, request: HttpRequest, *, start: int, limit: int | None) -> Ranking:
    assert form.condition_chosen is not None
    return ranking(
        form.metric, form.condition_chosen, start=start, limit=limit, **_asked(form, request)
    )


def _asked(form: RankingForm, request: HttpRequest) -> dict[str, Any]:
    """Who counts, when, and for whom: what every query behind the page is asked with."""
    return {
        "viewer": request.user,
        "filters": form.filters,
        "as_of": form.moment,
        "tables": form.counts,
    }
