"""The catalogue behind the counter. Adapters are written by the same action as on the pages."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.db.models import QuerySet
from django.forms import ModelForm
from django.http import HttpRequest

from catalog.actions import save_adapter, save_device
from catalog.models import Adapter, Device, LabelClaim, Maker, Port, Protocol, Unit

if TYPE_CHECKING:
    # The framework's classes take their model as a parameter in its stubs only.
    _Admin = admin.ModelAdmin[Any]
    _Inline = admin.TabularInline[Any, Any]
else:
    _Admin = admin.ModelAdmin
    _Inline = admin.TabularInline


@admin.register(Maker)
class MakerAdmin(_Admin):
    """Makers."""

    search_fields = ("name",)
    prepopulated_fields = {"slug": ("name",)}


class PortInline(_Inline):
    """Ports of an adapter."""

    model = Port
    extra = 0


class LabelClaimInline(_Inline):
    """What is printed on an adapter."""

    model = LabelClaim
    extra = 0


@admin.register(Adapter)
class AdapterAdmin(_Admin):
    """Adapters; the slug is made from maker and name, once."""

    list_display = ("__str__", "rated_power_w", "publish_on")
    list_filter = ("maker", "enclosure", "supply")
    search_fields = ("name", "maker__name", "model_number")
    readonly_fields = ("slug", "created_at", "changed_at")
    inlines = (PortInline, LabelClaimInline)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Adapter]:
        """With makers, for the names."""
        return super().get_queryset(request).select_related("maker")

    def save_model(
        self, request: HttpRequest, obj: Adapter, form: ModelForm[Adapter], change: bool
    ) -> None:
        """Through the action, which makes the slug."""
        save_adapter(obj)

    def save_related(
        self, request: HttpRequest, form: ModelForm[Adapter], formsets: Any, change: bool
    ) -> None:
        """Once more after ports and claims, so that what follows from them is refreshed."""
        super().save_related(request, form, formsets, change)
        save_adapter(form.instance)


@admin.register(Unit)
class UnitAdmin(_Admin):
    """Physical samples."""

    list_display = ("adapter", "serial", "source", "acquired_on")
    list_select_related = ("adapter__maker",)
    autocomplete_fields = ("adapter",)
    search_fields = ("serial", "adapter__name")


@admin.register(Protocol)
class ProtocolAdmin(_Admin):
    """The vocabulary of charging protocols."""

    list_display = ("name", "standard")
    prepopulated_fields = {"slug": ("name",)}


@admin.register(Device)
class DeviceAdmin(_Admin):
    """Reference devices."""

    list_display = ("name", "kind", "battery_wh", "max_power_w", "voltage_min_v", "voltage_max_v")
    prepopulated_fields = {"slug": ("name",)}

    def save_model(
        self, request: HttpRequest, obj: Device, form: ModelForm[Device], change: bool
    ) -> None:
        """Through the action."""
        save_device(obj)
