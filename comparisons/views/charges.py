"""Charges of a device, laid over a reference."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from catalog.models import Device
from comparisons.charts.overlays import MOST_CURVES, overlay_plot, overlay_svg
from comparisons.forms import OverlayForm
from comparisons.queries.charge_overlays import Overlay, overlay
from comparisons.queries.charge_runs import MOST_LISTED, devices_charged
from comparisons.views.csv_files import Row, csv_response
from measurements.charts import STATE, read_shown
from measurements.views.drawings import (
    PARAMETERS,
    Form,
    asked_for,
    drawn,
    in_words,
    refused,
    wanted,
)
from measurements.views.figures import Addresses, Figure, figure


@require_safe
def device_list(request: HttpRequest) -> HttpResponse:
    """Every device that was charged, with the number of adapters."""
    context = {"section": "comparisons", "devices": devices_charged(viewer=request.user)}
    return render(request, "comparisons/charge_list.html", context)


@require_safe
def charges_of_device(request: HttpRequest, device: str) -> HttpResponse:
    """The curves that the address asks for, and how far they lie from the reference."""
    charged = get_object_or_404(Device, slug=device)
    asked = _without(request.GET, STATE)
    form = OverlayForm(asked, device=charged, viewer=request.user)
    context: dict[str, Any] = {
        "section": "comparisons",
        "device": charged,
        "form": form,
        "most": MOST_CURVES,
        "most_listed": MOST_LISTED,
    }
    status = 200
    if form.is_valid():
        if form.chosen:
            context["overlay"] = found = _overlay(form)
            context["figure"] = drawing = _figure(request.GET, found, asked=asked)
            status = 400 if drawing.error else 200
    else:
        status = 400
    return render(request, "comparisons/charges.html", context, status=status)


@require_safe
def curves(request: HttpRequest, device: str, form: Form = "svg") -> HttpResponseBase:
    """The drawing of the page of the same query, in a theme and a size."""
    how = wanted(request, form)
    asked = _without(request.GET, PARAMETERS)
    laid = OverlayForm(
        _without(asked, STATE), device=get_object_or_404(Device, slug=device), viewer=request.user
    )
    if how is None or not laid.is_valid():
        return refused("the rest is as the page of this device reads it")
    if not laid.chosen:
        raise Http404
    found = _overlay(laid)
    try:
        shown = read_shown(asked_for(asked), *overlay_plot(found))
    except ValueError as error:
        return in_words(str(error))
    return drawn(
        request,
        how,
        lambda theme, size: overlay_svg(found, theme, size=size, shown=shown),
        state=(
            found.title,
            found.by,
            *shown.in_order,
            *(f"{curve.run.pk} {curve.label} {curve.run.fence}" for curve in found.curves),
        ),
        name=f"charges-{device}",
    )


def _overlay(form: OverlayForm) -> Overlay:
    return overlay(
        form.device, form.chosen, reference=form.chosen[0], by=form.axis, viewer=form.viewer
    )


@require_safe
def curves_csv(request: HttpRequest, device: str) -> HttpResponse:
    """The numbers of the drawing of the same query: a column a curve, empty where it has none."""
    charged = get_object_or_404(Device, slug=device)
    laid = OverlayForm(request.GET, device=charged, viewer=request.user)
    if not laid.is_valid():
        return in_words("The query is as the page of this device reads it.")
    if not laid.chosen:
        raise Http404
    return csv_response(_csv_rows(_overlay(laid)), name=f"charges-{device}")


def _csv_rows(found: Overlay) -> Iterator[Row]:
    _, trace = overlay_plot(found)
    yield [
        "time_min" if found.by == "time" else "level_percent",
        *(f"power_w {curve.label}" for curve in found.curves),
    ]
    yield from zip(*trace.values(), strict=True)


def _figure(query: QueryDict, found: Overlay, *, asked: QueryDict) -> Figure:
    plot, trace = overlay_plot(found)
    svg, png, csv = (
        reverse(name, args=[found.device.slug])
        for name in ("charge-curves", "charge-curves-png", "charge-curves-csv")
    )
    return figure(
        query,
        plot,
        trace,
        addresses=Addresses(svg, png, f"{csv}?{asked.urlencode()}"),
        columns=[*trace],
        kept=[(name, text) for name, texts in asked.lists() for text in texts],
    )


def _without(query: QueryDict, names: Iterable[str]) -> QueryDict:
    """The query, less what another reads."""
    rest = query.copy()
    for name in names:
        rest.pop(name, None)
    return rest
