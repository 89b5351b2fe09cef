"""What is said about a file when it is handed in: one form for page, API and command line."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils import timezone

from catalog.actions import find_device
from catalog.forms import FilterForm
from catalog.models import Adapter, Device, Port, Viewer
from catalog.rest.fields import fault_of_plain
from measurements.actions import RunFacts
from measurements.kinds import all_kinds, get_kind
from measurements.kinds.base import Field, Kind
from measurements.models import HIGH_LINE_V, LOW_LINE_V, Instrument, Run, line_of

if TYPE_CHECKING:
    # The framework's class takes its model as a parameter in its stubs only.
    _InstrumentModelForm = forms.ModelForm[Instrument]
else:
    _InstrumentModelForm = forms.ModelForm

CLOCK_TOLERANCE = timedelta(minutes=10)


def kind_choices() -> list[tuple[str, str]]:
    """Every kind as a choice."""
    return [(kind.slug, kind.title) for kind in all_kinds()]


class _JsonField(forms.JSONField):
    """A JSON text that every database can hold; its absence shows as an empty box, not null."""

    def to_python(self, value: Any) -> Any:
        """Read it. Raises `ValidationError`, also for what is nested without end."""
        try:
            plain = super().to_python(value)
        except RecursionError:
            raise ValidationError("This is nested too deeply.") from None
        if fault := fault_of_plain(plain):
            raise ValidationError(fault)
        return plain

    def prepare_value(self, value: Any) -> Any:
        """What stands in the box."""
        return "" if value is None else super().prepare_value(value)


class _DeviceField(forms.CharField):
    """A reference device by slug or name; one that is not known yet is written down."""

    def clean(self, value: Any) -> str:
        """Slug of a known device, else the name of a new one. Raises `ValidationError`."""
        text = " ".join(str(super().clean(value)).split())
        if text and (device := find_device(text)):
            return device.slug
        if text:
            Device(name=text, slug="new").clean_fields()
        return text


def _method_field(field: Field) -> forms.Field:
    label = f"{field.title}, {field.unit}" if field.unit else field.title
    if field.type == "number":
        return forms.FloatField(
            label=label,
            help_text=field.help,
            required=field.required,
            min_value=field.minimum,
            max_value=field.maximum,
        )
    if field.type == "json":
        return _JsonField(
            label=label, help_text=field.help, required=field.required, widget=forms.TextInput
        )
    if field.type == "device":
        return _DeviceField(
            label=label, help_text=field.help, required=field.required, max_length=100
        )
    return forms.CharField(
        label=label, help_text=field.help, required=field.required, max_length=200
    )


class RunForm(forms.Form):
    """The conditions of a run. Method fields of the kind are added to the common ones.

    `facts()` gives what `actions.receive_run` takes. The file itself is not part of it.
    """

    adapter = forms.ModelChoiceField(
        Adapter.objects.none(),
        to_field_name="slug",
        error_messages={"invalid_choice": "No adapter is called “%(value)s” here."},
    )
    kind = forms.ChoiceField(
        choices=kind_choices,
        error_messages={"invalid_choice": "“%(value)s” is not a kind of run."},
    )
    unit = forms.CharField(
        label="Unit (serial)", required=False, max_length=80, help_text="1 when there is only one."
    )
    measured_at = forms.DateTimeField(
        label="Measured at (UTC unless a zone is given)",
        required=False,
        help_text="Date and time, such as 2026-04-04 14:30.",
    )
    mains_v = forms.FloatField(
        label="Mains voltage, V",
        required=False,
        help_text="180–264 V counts as high line, 90–132 V as low line.",
    )
    mains_hz = forms.FloatField(
        label="Mains frequency, Hz", required=False, min_value=40, max_value=70
    )
    ambient_c = forms.FloatField(
        label="Ambient temperature, °C",
        required=False,
        min_value=-40,
        max_value=90,
        help_text="Of the room or the chamber, where the file does not hold it.",
    )
    port = forms.CharField(required=False, max_length=20, help_text="The port's label, such as C1.")
    instruments = forms.ModelMultipleChoiceField(
        Instrument.objects.order_by("name"),
        to_field_name="name",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Their accuracy gives the uncertainty of every result.",
        error_messages={"invalid_choice": "No instrument is called “%(value)s” here."},
    )
    note = forms.CharField(required=False, max_length=2000, widget=forms.Textarea({"rows": 2}))

    def __init__(
        self, data: Mapping[str, Any] | None = None, *, viewer: Viewer, kind: str = "", **kw: Any
    ) -> None:
        super().__init__(data, **kw)
        choices = self.fields["adapter"]
        assert isinstance(choices, forms.ModelChoiceField)
        choices.queryset = (
            Adapter.objects.visible_to(viewer)
            .select_related("maker")
            .order_by("maker__name", "name")
        )
        self.declared: Kind | None = None
        slug = kind or str((data or {}).get("kind", ""))
        if slug in dict(kind_choices()):
            self.declared = get_kind(slug)
            for field in self.declared.fields:
                self.fields[field.name] = _method_field(field)

    def clean_unit(self) -> str:
        """The serial; 1 when none was given."""
        return str(self.cleaned_data["unit"]).strip() or "1"

    def clean_measured_at(self) -> Any:
        """Refuse a moment that has not come yet."""
        moment = self.cleaned_data["measured_at"]
        if moment and moment > timezone.now() + CLOCK_TOLERANCE:
            raise ValidationError("This moment lies in the future; check the bench's clock.")
        return moment

    def clean(self) -> dict[str, Any]:
        """Rules that need more than one field: the mains range and the adapter's port."""
        cleaned = super().clean() or self.cleaned_data
        mains_v = cleaned.get("mains_v")
        needs = self.declared is not None and self.declared.needs_mains
        ranges = f"{LOW_LINE_V[0]:g}–{LOW_LINE_V[1]:g} V or {HIGH_LINE_V[0]:g}–{HIGH_LINE_V[1]:g} V"
        if mains_v is None and needs and "mains_v" not in self.errors:
            self.add_error("mains_v", f"Give the mains voltage of this run: {ranges}.")
        elif mains_v is not None and not line_of(mains_v):
            self.add_error("mains_v", f"{mains_v:g} V is outside both mains ranges: {ranges}.")
        label, adapter = cleaned.get("port"), cleaned.get("adapter")
        cleaned["port"] = None
        if label and adapter is not None:
            cleaned["port"] = Port.objects.filter(adapter=adapter, label=label).first()
            if cleaned["port"] is None:
                known = ", ".join(port.label for port in adapter.ports.order_by("position"))
                self.add_error(
                    "port",
                    f"{adapter} has no port “{label}”. Its ports: {known or 'none written down'}.",
                )
        return cleaned

    def facts(self) -> RunFacts:
        """The validated conditions; only after `is_valid()`."""
        cleaned = self.cleaned_data
        declared = self.declared
        assert declared is not None
        method_fields = {
            field.name: cleaned[field.name]
            for field in declared.fields
            if cleaned.get(field.name) not in (None, "")
        }
        devices = {
            field.name: str(method_fields.pop(field.name))
            for field in declared.fields
            if field.type == "device" and field.name in method_fields
        }
        return RunFacts(
            devices=devices,
            adapter=cleaned["adapter"],
            kind=cleaned["kind"],
            unit=cleaned["unit"],
            mains_v=cleaned["mains_v"],
            mains_hz=cleaned["mains_hz"],
            ambient_c=cleaned["ambient_c"],
            port=cleaned["port"],
            instruments=tuple(cleaned["instruments"]),
            method_fields=json.loads(json.dumps(method_fields)),
            measured_at=cleaned["measured_at"],
            note=cleaned["note"],
        )


def fields_of_all_kinds() -> dict[str, forms.Field]:
    """The method fields of every kind, none of them required: which are needed, the kind says."""
    found = {field.name: _method_field(field) for kind in all_kinds() for field in kind.fields}
    for field in found.values():
        field.required = False
    return found


class WithdrawForm(forms.Form):
    """Why a run is withdrawn."""

    reason = forms.CharField(
        max_length=500,
        strip=True,
        help_text="Readers see this beside the run.",
        error_messages={"required": "Say why the run is withdrawn; readers see the reason."},
    )


class FileForm(forms.Form):
    """The file of a run, as a page sends it."""

    file = forms.FileField(
        help_text="CSV, TSV, XLSX, Parquet or NumPy (.npy, .npz) as the instrument wrote it. "
        "It is kept for ever, unchanged.",
        error_messages={
            "required": "Choose the file of this run.",
            "empty": "The file is empty: it has no bytes. Export it again from the instrument.",
        },
    )


class RunFilterForm(FilterForm):
    """Which runs are listed."""

    adapter = forms.ModelChoiceField(
        Adapter.objects.none(),
        to_field_name="slug",
        required=False,
        empty_label="any",
        error_messages={"invalid_choice": "No adapter is called “%(value)s” here."},
    )
    kind = forms.ChoiceField(choices=lambda: [("", "any"), *kind_choices()], required=False)
    state = forms.ChoiceField(choices=[("", "any"), *Run.State.choices], required=False)
    standing = forms.ChoiceField(choices=[("", "any"), *Run.Standing.choices], required=False)

    def __init__(self, data: Mapping[str, Any] | None = None, *, viewer: Viewer) -> None:
        super().__init__(data)
        choices = self.fields["adapter"]
        assert isinstance(choices, forms.ModelChoiceField)
        choices.queryset = (
            Adapter.objects.visible_to(viewer)
            .select_related("maker")
            .order_by("maker__name", "name")
        )

    def narrow(self, runs: QuerySet[Run]) -> QuerySet[Run]:
        """Those of `runs` that the filters let through; only after `is_valid()`."""
        for name in ("adapter", "kind", "state", "standing"):
            if wanted := self.cleaned_data[name]:
                runs = runs.filter(**{name: wanted})
        return runs


class InstrumentForm(_InstrumentModelForm):
    """An instrument and the accuracy that its maker states."""

    class Meta:
        model = Instrument
        fields = (
            "name",
            "quantity",
            "reading_percent",
            "fixed",
            "calibrated_on",
            "calibration_due",
        )
        help_texts = {
            "name": "What this bench calls it, with the quantity and range if it has several.",
            "quantity": "One entry for each quantity; the unit of the fixed part stands behind it.",
            "reading_percent": "From the data sheet, for the range in use.",
            "fixed": "From the data sheet, digits and range terms added up, in the unit above.",
        }
        widgets = {
            "calibrated_on": forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
            "calibration_due": forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
        }
