"""Pages of the catalogue: entries of adapters, list and entries of devices, the decoder."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from catalog.actions import save_device
from catalog.charts import profile_chart
from catalog.forms import AdapterEntry, DecodeForm, DeviceForm
from catalog.models import Adapter, Device
from catalog.power_delivery.audit import audit
from catalog.power_delivery.objects import decode_all

EXAMPLE_WORDS = (
    "0x0881912C 0x0002D12C 0x0004B12C 0x000641F4 0xE007D1F4 0xC9A42164 0x00000000 "
    "0x0008C1F4 0xD230968C"
)
"""What an invented source of 140 W sends in EPR mode."""
EXAMPLE_POWER_W = 140


@login_required
@permission_required("catalog.add_adapter", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def adapter_add(request: HttpRequest) -> HttpResponse:
    """Write down a new adapter."""
    return _entry(request, adapter=Adapter())


@login_required
@permission_required("catalog.change_adapter", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def adapter_edit(request: HttpRequest, slug: str) -> HttpResponse:
    """Correct what is written down about an adapter."""
    visible = Adapter.objects.visible_to(request.user).select_related("maker")
    return _entry(request, adapter=get_object_or_404(visible, slug=slug))


def _entry(request: HttpRequest, *, adapter: Adapter) -> HttpResponse:
    title = f"Edit {adapter}" if adapter.pk else "New adapter"
    entry = AdapterEntry(adapter, data=request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST":
        if entry.is_valid():
            with transaction.atomic():
                saved = entry.save()
                transaction.set_rollback(not saved)
            if saved:
                messages.success(request, f"{adapter} was saved.")
                return redirect(adapter)
        status = 400
    context = {"section": "adapters", "entry": entry, "form": entry.form, "title": title}
    return render(request, "catalog/adapter_entry.html", context, status=status)


@require_safe
def device_list(request: HttpRequest) -> HttpResponse:
    """Every reference device."""
    context = {"section": "adapters", "devices": Device.objects.listed().order_by("name")}
    return render(request, "catalog/device_list.html", context)


@login_required
@permission_required("catalog.add_device", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def device_add(request: HttpRequest) -> HttpResponse:
    """Write down a reference device."""
    return _device_entry(request, device=Device(), title="New reference device")


@login_required
@permission_required("catalog.change_device", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def device_edit(request: HttpRequest, slug: str) -> HttpResponse:
    """Correct what is written down about a reference device."""
    device = get_object_or_404(Device, slug=slug)
    return _device_entry(request, device=device, title=f"Edit {device}")


def _device_entry(request: HttpRequest, *, device: Device, title: str) -> HttpResponse:
    form = DeviceForm(request.POST if request.method == "POST" else None, instance=device)
    if form.is_valid():
        save_device(device)
        messages.success(request, f"{device} was saved.")
        return redirect("device-list")
    context = {"section": "adapters", "form": form, "title": title}
    return render(
        request, "catalog/device_entry.html", context, status=400 if form.is_bound else 200
    )


@require_safe
def decode(request: HttpRequest) -> HttpResponse:
    """Words that anybody pastes, decoded and audited; the address holds all of them."""
    form = DecodeForm(request.GET if request.GET else None)
    context = {
        "section": "methods",
        "form": form,
        "example": urlencode({"words": EXAMPLE_WORDS, "rated_power_w": EXAMPLE_POWER_W}),
        "example_power_w": EXAMPLE_POWER_W,
    }
    if form.is_valid():
        rated_power_w = form.cleaned_data["rated_power_w"]
        objects = decode_all(form.parsed)
        context |= {
            "objects": objects,
            "chart": profile_chart(objects),
            "findings": audit(objects, port_rated_power_w=rated_power_w),
            "rated_power_w": rated_power_w,
        }
    status = 400 if form.is_bound and not form.is_valid() else 200
    return render(request, "catalog/decode.html", context, status=status)
