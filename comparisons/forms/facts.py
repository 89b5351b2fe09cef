"""What a reader may ask of a fact sheet."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.conf import settings
from django.http import QueryDict

from comparisons.forms.rankings import table_choices, unknown_parameters
from measurements.queries import counts_tables


class FactsForm(forms.Form):
    """Whether results from tables count. The sheet of a comparison does not ask.

    After validation `counts` says whether they do.
    """

    tables = forms.ChoiceField(label="Count results from tables (no raw record)", required=False)

    def __init__(self, data: QueryDict, *, tables: bool = True) -> None:
        super().__init__(data, label_suffix="")
        if tables:
            cast(forms.ChoiceField, self.fields["tables"]).choices = table_choices()
        else:
            del self.fields["tables"]
        self.counts = counts_tables(data.get("tables"))

    def clean(self) -> dict[str, Any]:
        """Refuse what the page does not know, so that a typo never shows another sheet."""
        cleaned = super().clean() or self.cleaned_data
        known = self.fields
        for name in unknown_parameters(cast(QueryDict, self.data), known=known):
            self.add_error(None, name if known else "The sheet of a comparison takes no filter.")
        return cleaned

    @property
    def said(self) -> str:
        """The query of addresses of this same sheet, with its question mark; may be empty."""
        if "tables" not in self.fields or self.counts == bool(settings.COUNT_TABLES):
            return ""
        return f"?tables={'in' if self.counts else 'out'}"
