"""Two metrics against each other, as page and as file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from comparisons.charts import pairs as charts
from comparisons.forms import unknown_parameters
from comparisons.forms.pairs import PairForm
from comparisons.queries.pairs import Axis, Pair, PairedRow, pair, paired_rows
from comparisons.views.csv_files import Row, csv_response
from measurements.queries import condition_in_words

ROWS_A_PAGE = 100
# Rows of the table beside the drawing; the whole front is marked in the table of all.
FRONT_LISTED = charts.MOST_NUMBERED


@require_safe
def pair_page(request: HttpRequest) -> HttpResponse:
    """Who has both, drawn, and whom nobody beats on both."""
    form = PairForm(request.GET, viewer=request.user)
    context: dict[str, Any] = {"form": form, "section": "rankings"}
    if not _is_usable(form, request):
        return render(request, "comparisons/pair.html", context, status=400)
    context |= {
        "permalink": f"{request.path}?{form.permanent_query}",
        "x": form.metrics["x"],
        "y": form.metrics["y"],
    }
    axes = form.axes
    if axes is None:
        return render(request, "comparisons/pair.html", context)
    found = _pair(axes, form, request)
    start = form.cleaned_data["start"] or 0
    if start and start >= len(found):
        form.add_error("start", f"The table has {len(found)} rows.")
        return render(request, "comparisons/pair.html", {"form": form}, status=400)
    stop = min(start + ROWS_A_PAGE, len(found))
    on_front = found.on_front[:FRONT_LISTED].tolist()
    rows = paired_rows(found, [*on_front, *range(start, stop)])
    leading = rows[: len(on_front)]
    context |= {
        "pair": found,
        "axes": axes,
        "drawing": charts.scatter(
            charts.Axis(
                found.x_values, found.x.uncertainties[found.x_positions], axes[0].metric.better
            ),
            charts.Axis(
                found.y_values, found.y.uncertainties[found.y_positions], axes[1].metric.better
            ),
            on_front=found.on_front,
        ),
        "front": leading,
        "finding": finding(found, leading),
        "rows": rows[len(on_front) :],
        "start": start,
        "last": stop,
        "previous_start": max(0, start - ROWS_A_PAGE) if start else None,
        "next_start": stop if stop < len(found) else None,
        "citation": _citation(request, form, axes, found),
    }
    return render(request, "comparisons/pair.html", context)


@require_safe
def pair_csv(request: HttpRequest) -> HttpResponse:
    """Every adapter of exactly the view that the same query shows as a page."""
    form = PairForm(request.GET, viewer=request.user)
    if not _is_usable(form, request):
        context = {"form": form, "section": "rankings"}
        return render(request, "comparisons/pair.html", context, status=400)
    axes = form.axes
    rows: list[PairedRow] = []
    if axes is not None:
        found = _pair(axes, form, request)
        rows = paired_rows(found, range(len(found)))
    name = " ".join(form.metrics[axis].key for axis in ("x", "y"))
    return csv_response(_file_rows(axes, rows), name=name)


def finding(found: Pair, leading: list[PairedRow]) -> str:
    """What the drawing shows, as its title."""
    both = f"{found.x.metric.title.lower()} and {found.y.metric.title.lower()}"
    count = len(found.on_front)
    if len(found) == 1:
        return f"Only {leading[0].adapter} has {both}"
    if count == 1:
        return f"{leading[0].adapter} is beaten by none on either of {both}"
    return f"{count} of {len(found)} adapters are beaten by none on both {both}"


def _is_usable(form: PairForm, request: HttpRequest) -> bool:
    """Whether the query can be answered; its mistakes are then on the form."""
    form.is_valid()
    for sentence in unknown_parameters(request.GET, known=form.fields):
        form.add_error(None, sentence)
    return not form.errors


def _pair(axes: tuple[Axis, Axis], form: PairForm, request: HttpRequest) -> Pair:
    return pair(
        *axes,
        viewer=request.user,
        filters=form.filters,
        as_of=form.moment,
        tables=form.counts,
    )


def _citation(request: HttpRequest, form: PairForm, axes: tuple[Axis, Axis], found: Pair) -> str:
    named = " against ".join(
        f"{axis.metric.title}, {condition_in_words(axis.condition)}"
        if axis.condition.as_json()
        else axis.metric.title
        for axis in axes
    )
    count = len(found)
    return (
        f"Brickledger at {request.get_host()}: {named}; "
        f"{count} adapter{'' if count == 1 else 's'}{form.filters_in_words}; {form.day_in_words}. "
        f"{request.build_absolute_uri(request.path)}?{form.permanent_query} "
        f"(retrieved {timezone.now().date()})"
    )


def _file_rows(axes: tuple[Axis, Axis] | None, rows: list[PairedRow]) -> Iterator[Row]:
    """A header and one row an adapter, best across first."""
    said = ("metric", "condition", "value", "unit", "expanded_uncertainty_k2", "rank", "run")
    sides = (*said, "source")
    yield [
        "adapter",
        "maker",
        "name",
        "beaten_by_none_on_both",
        *(f"{axis}_{name}" for axis in ("x", "y") for name in sides),
    ]
    if axes is None:
        return
    for row in rows:
        line: list[str | float | int | None] = [
            row.adapter.slug,
            row.adapter.maker.name,
            row.adapter.name,
            "no" if row.number is None else "yes",
        ]
        for axis, side in zip(axes, (row.x, row.y), strict=True):
            line += [
                axis.metric.key,
                axis.condition.key,
                side.value,
                axis.metric.unit,
                side.expanded_uncertainty,
                side.rank,
                str(side.run_id) if side.run_id else None,
                side.source,
            ]
        yield line
