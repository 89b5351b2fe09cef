"""What a reader may ask of the page of a device."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.conf import settings
from django.http import QueryDict

from catalog.models import Viewer
from comparisons.forms.filters import NarrowingForm
from comparisons.forms.rankings import table_choices, unknown_parameters
from comparisons.queries.device_rows import SORTS, Sort, Speed
from measurements.queries import counts_tables


class DeviceTrialsForm(NarrowingForm):
    """Which adapters are shown, at which speed, and in which order; all may be left out.

    After validation `filters`, `order` and `at_speed` say so, `counts` whether tables count.
    """

    speed = forms.ChoiceField(
        label="Speed",
        required=False,
        choices=[
            ("", "any"),
            ("full", "full speed"),
            ("slow", "below full speed"),
            ("near", "within U of the bound"),
        ],
    )
    sort = forms.ChoiceField(label="Order", required=False, choices=[*SORTS.items()])
    tables = forms.ChoiceField(label="Count results from tables (no raw record)", required=False)
    start = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)

    def __init__(self, data: QueryDict, *, viewer: Viewer) -> None:
        super().__init__(data, viewer=viewer, label_suffix="")
        cast(forms.ChoiceField, self.fields["tables"]).choices = table_choices()
        self.counts = counts_tables(data.get("tables"))

    def clean(self) -> dict[str, Any]:
        """Refuse what the page does not know, so that a typo never unfilters it."""
        cleaned = super().clean()
        for sentence in unknown_parameters(cast(QueryDict, self.data), known=self.fields):
            self.add_error(None, sentence)
        return cleaned

    @property
    def order(self) -> Sort:
        """What the rows are ordered by."""
        return cast(Sort, self.cleaned_data["sort"] or "power")

    @property
    def at_speed(self) -> Speed:
        """Which speed is asked for; "" any."""
        return cast(Speed, self.cleaned_data["speed"])

    @property
    def asks_for_tables(self) -> bool:
        """Whether tables count other than the site does by itself."""
        return self.counts != bool(settings.COUNT_TABLES)
