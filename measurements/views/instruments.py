"""The instruments of the bench."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from measurements.forms import InstrumentForm
from measurements.models import Instrument


@require_safe
def instrument_list(request: HttpRequest) -> HttpResponse:
    """Every instrument with its stated accuracy."""
    context = {
        "section": "bench",
        "instruments": Instrument.objects.order_by("quantity", "name"),
        "today": timezone.now().date(),
    }
    return render(request, "measurements/instrument_list.html", context)


@login_required
@permission_required("measurements.add_instrument", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def instrument_add(request: HttpRequest) -> HttpResponse:
    """Write down an instrument."""
    form = InstrumentForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        instrument = form.save()
        messages.success(request, f"{instrument} was saved and can be named in runs.")
        return redirect("instrument-list")
    context = {"section": "bench", "form": form}
    return render(
        request, "measurements/instrument_add.html", context, status=400 if form.is_bound else 200
    )
