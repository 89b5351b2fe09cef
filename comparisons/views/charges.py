"""Charges of a device, laid over a reference."""

from __future__ import annotations

import hashlib
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_safe

from catalog.models import Device
from comparisons.charts.overlays import MOST_CURVES, overlay_svg
from comparisons.forms import OverlayForm
from comparisons.queries.charge_overlays import Overlay, overlay
from comparisons.queries.charge_runs import MOST_LISTED, devices_charged
from measurements.charts import EDITION, SIZES, THEMES


@require_safe
def device_list(request: HttpRequest) -> HttpResponse:
    """Every device that was charged, with the number of adapters."""
    context = {"section": "comparisons", "devices": devices_charged(viewer=request.user)}
    return render(request, "comparisons/charge_list.html", context)


@require_safe
def charges_of_device(request: HttpRequest, device: str) -> HttpResponse:
    """The curves that the address asks for, and how far they lie from the reference."""
    charged = get_object_or_404(Device, slug=device)
    form = OverlayForm(request.GET, device=charged, viewer=request.user)
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
            context["overlay"] = _overlay(form)
    else:
        status = 400
    return render(request, "comparisons/charges.html", context, status=status)


@require_safe
def curves(request: HttpRequest, device: str) -> HttpResponseBase:
    """The drawing of the page of the same query, in a theme and a size."""
    asked = request.GET.copy()
    theme = str(asked.pop("theme", ["light"])[-1])
    size = str(asked.pop("size", ["wide"])[-1])
    form = OverlayForm(asked, device=get_object_or_404(Device, slug=device), viewer=request.user)
    if theme not in THEMES or size not in SIZES or not form.is_valid():
        return HttpResponse(
            f"theme is one of {', '.join(THEMES)}; size is one of {', '.join(SIZES)}; the rest is "
            "as the page of this device reads it.",
            content_type="text/plain; charset=utf-8",
            status=400,
        )
    if not form.chosen:
        raise Http404
    drawn = _overlay(form)
    parts = [theme, size, str(EDITION), drawn.title, drawn.by]
    parts += [f"{curve.run.pk} {curve.label} {curve.run.fence}" for curve in drawn.curves]
    etag = f'"{hashlib.sha256(chr(0).join(parts).encode()).hexdigest()[:32]}"'
    response = get_conditional_response(request, etag=etag)
    if response is None:
        svg = overlay_svg(
            drawn,
            "dark" if theme == "dark" else "light",
            size="narrow" if size == "narrow" else "wide",
        )
        response = HttpResponse(svg, content_type="image/svg+xml")
    response.headers["ETag"] = etag
    response.headers["Cache-Control"] = "private, no-cache"
    return response


def _overlay(form: OverlayForm) -> Overlay:
    return overlay(
        form.device, form.chosen, reference=form.chosen[0], by=form.axis, viewer=form.viewer
    )
