"""Which charges are laid over each other."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from catalog.models import Adapter, Device, Viewer
from comparisons.charts.overlays import MOST_CURVES
from comparisons.forms.rankings import unknown_parameters
from comparisons.queries.charge_overlays import Axis, adapters_charging


class OverlayForm(forms.Form):
    """Adapters whose charge of one device is drawn, the reference, and the axis.

    After validation `chosen` are the adapters, the reference first, and `axis` is what the
    curves are drawn over. Without an adapter in the address nothing is chosen.
    """

    adapter = forms.MultipleChoiceField(
        label="Adapters",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "invalid_choice": "“%(value)s” has no accepted charge of this device here."
        },
    )
    reference = forms.ChoiceField(
        required=False,
        help_text="What the others are compared with; the first adapter when left open.",
        error_messages={
            "invalid_choice": "“%(value)s” has no accepted charge of this device here."
        },
    )
    by = forms.ChoiceField(
        label="Drawn over",
        required=False,
        choices=[("time", "time"), ("level", "battery level")],
    )

    def __init__(self, data: QueryDict, *, device: Device, viewer: Viewer) -> None:
        super().__init__(data, label_suffix="")
        self.device = device
        self.viewer = viewer
        self.known = {adapter.slug: adapter for adapter in adapters_charging(device, viewer=viewer)}
        choices = [(slug, str(adapter)) for slug, adapter in self.known.items()]
        cast(forms.ChoiceField, self.fields["adapter"]).choices = choices
        cast(forms.ChoiceField, self.fields["reference"]).choices = [("", "the first"), *choices]
        self.chosen: list[Adapter] = []
        self.axis: Axis = "time"

    def clean(self) -> dict[str, Any]:
        """Add the reference to the adapters; refuse more curves than can be told apart."""
        cleaned = super().clean() or self.cleaned_data
        for sentence in unknown_parameters(cast(QueryDict, self.data), known=self.fields):
            self.add_error(None, sentence)
        slugs = list(dict.fromkeys(cleaned.get("adapter") or []))
        if reference := cleaned.get("reference"):
            slugs = [reference, *(slug for slug in slugs if slug != reference)]
        if len(slugs) > MOST_CURVES:
            raise ValidationError(
                {"adapter": f"Choose at most {MOST_CURVES} adapters; these are {len(slugs)}."}
            )
        self.chosen = [self.known[slug] for slug in slugs]
        self.axis = "level" if cleaned.get("by") == "level" else "time"
        return cleaned

    @property
    def reference_chosen(self) -> Adapter | None:
        """The adapter that the others are compared with."""
        return self.chosen[0] if self.chosen else None
