"""The bench behind the counter: instruments can be changed, what was measured only read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest

from measurements.models import Amendment, Instrument, RawFile, Run, RunEvent, Value

if TYPE_CHECKING:
    # The framework's class takes its model as a parameter in its stubs only.
    _Admin = admin.ModelAdmin[Any]
else:
    _Admin = admin.ModelAdmin


@admin.register(Instrument)
class InstrumentAdmin(_Admin):
    """Instruments."""

    list_display = ("name", "quantity", "reading_percent", "fixed", "calibration_due")
    list_filter = ("quantity",)
    search_fields = ("name",)


class ReadOnlyAdmin(_Admin):
    """For looking: what was measured changes through its actions alone, which keep history."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Never."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        """Never."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        """Never."""
        return False


@admin.register(RawFile)
class RawFileAdmin(ReadOnlyAdmin):
    """Raw files by hash."""

    list_display = ("sha256", "size", "stored_at")
    search_fields = ("sha256",)


@admin.register(Run)
class RunAdmin(ReadOnlyAdmin):
    """Runs, without the columns that are as large as a file."""

    list_display = ("id", "adapter", "kind", "state", "standing", "received_at")
    list_filter = ("kind", "state", "standing")
    list_select_related = ("adapter__maker",)
    search_fields = ("id", "adapter__name", "raw__sha256")
    exclude = ("trace", "plot")


@admin.register(Value)
class ValueAdmin(ReadOnlyAdmin):
    """Values, present and past."""

    list_display = ("adapter", "metric", "condition_key", "value", "current_from", "current_until")
    list_filter = ("metric",)
    list_select_related = ("adapter__maker",)


@admin.register(RunEvent)
class RunEventAdmin(ReadOnlyAdmin):
    """The history of every run."""

    list_display = ("run", "what", "at", "by")
    list_filter = ("what",)
    list_select_related = ("run", "by")


@admin.register(Amendment)
class AmendmentAdmin(ReadOnlyAdmin):
    """What was corrected of runs, when, by whom and why."""

    list_display = ("run", "at", "by", "reason")
    list_select_related = ("run", "by")
