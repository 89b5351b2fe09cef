"""Filters of a list in the address, and the entry of an adapter."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.paginator import EmptyPage, Page, Paginator
from django.db import IntegrityError
from django.db.models import ProtectedError, QuerySet

from catalog.actions import get_maker, save_adapter
from catalog.forms.groups import ask_for_the_rest
from catalog.forms.rows import claim_rows, port_rows
from catalog.models import Adapter

if TYPE_CHECKING:
    # The framework's class takes its model as a parameter in its stubs only.
    _AdapterModelForm = forms.ModelForm[Adapter]
else:
    _AdapterModelForm = forms.ModelForm


class FilterForm(forms.Form):
    """Filters of a list, read from the address.

    A parameter that is no filter is an error, so that a typing mistake never shows an
    unfiltered list as if it were filtered.
    """

    page = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        """Refuse parameters that this list does not know."""
        cleaned = super().clean() or self.cleaned_data
        unknown = sorted(set(self.data) - set(self.fields))
        if unknown:
            known = ", ".join(name for name in self.fields if name != "page")
            named = ", ".join(f"“{name[:40]}”" for name in unknown[:5])
            self.add_error(None, f"This list has no filter {named}. Its filters: {known}.")
        return cleaned

    @property
    def is_narrowed(self) -> bool:
        """Whether anything but the page is asked for."""
        return any(self.data.get(name) for name in self.fields if name != "page")

    def page_of(self, rows: QuerySet[Any], *, size: int) -> Page[Any] | None:
        """The page that is asked for; None, with an error in the form, past the last one."""
        paginator = Paginator(rows, size)
        try:
            return paginator.page(self.cleaned_data.get("page") or 1)
        except EmptyPage:
            self.add_error(None, f"There is no such page; the last one is {paginator.num_pages}.")
            return None


# Facts that only mean something together.
WHOLE = (
    ("mains_min_v", "mains_max_v"),
    ("length_mm", "width_mm", "height_mm"),
    ("price", "currency"),
)


class AdapterForm(_AdapterModelForm):
    """The facts of an adapter itself; its maker by name."""

    maker_name = forms.CharField(
        label="Maker", max_length=100, help_text="A name that is not known yet is written down."
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    class Meta:
        model = Adapter
        fields = (
            "name",
            "model_number",
            "rated_power_w",
            "supply",
            "mains_min_v",
            "mains_max_v",
            "length_mm",
            "width_mm",
            "height_mm",
            "mass_g",
            "enclosure",
            "plug",
            "released_on",
            "price",
            "currency",
            "publish_on",
        )
        labels = {"currency": "Currency"}
        help_texts = {
            "name": "As sold, without the maker.",
            "supply": "Decides the row of the efficiency limits. An adapter that negotiates its "
            "voltage (USB PD) is adaptive.",
            "enclosure": "What hands touch; it decides the touch temperature limit.",
            "currency": "Three letters of ISO 4217, such as EUR.",
            "publish_on": "Until that day only signed-in reviewers and editors see this adapter, "
            "its runs and its places. Left empty, it is public at once.",
        }
        widgets = {
            "released_on": forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
            "publish_on": forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
            "currency": forms.TextInput({"size": 4, "autocapitalize": "characters"}),
        }

    field_order = ("maker_name",)

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        if self.instance.pk:
            self.initial["maker_name"] = self.instance.maker.name
            self.initial["seen"] = _stamp(self.instance.changed_at)

    def clean_maker_name(self) -> str:
        """The name with single spaces."""
        return " ".join(self.cleaned_data["maker_name"].split())

    def clean_currency(self) -> str | None:
        """Three capital letters, or nothing."""
        currency = (self.cleaned_data["currency"] or "").strip().upper()
        if currency and not (len(currency) == 3 and currency.isascii() and currency.isalpha()):
            raise ValidationError("Give three letters, such as EUR.")
        return currency or None

    def clean(self) -> dict[str, Any]:
        """Facts that only mean something together are all given or all left out."""
        cleaned = super().clean() or self.cleaned_data
        ask_for_the_rest(self, WHOLE)
        if self.instance.pk and cleaned.get("seen") != _stamp(self.instance.changed_at):
            self.add_error(
                None,
                "Someone else changed this entry while the form was open. Open it again in "
                "another window, compare, and repeat your change there.",
            )
        return cleaned


def _stamp(moment: datetime) -> str:
    return moment.isoformat()


class AdapterEntry:
    """An adapter with its ports and label claims, as one form of one page.

    Parameters
    ----------
    adapter : Adapter
        A new one without key, or the one to be changed.
    data : mapping, optional
        What was sent.
    """

    def __init__(self, adapter: Adapter, *, data: Mapping[str, Any] | None = None) -> None:
        self.adapter = adapter
        self.form = AdapterForm(data, instance=adapter)
        self.ports = port_rows(adapter, data=data)
        self.claims = claim_rows(adapter, data=data)

    def is_valid(self) -> bool:
        """Whether every part is, and the parts agree with each other."""
        sound = self.form.is_valid()
        claims_sound = self.claims.is_valid()
        if not self.ports.is_valid():
            return False
        labels: set[str] = set()
        for row in self.ports:
            label = row.cleaned_data.get("label")  # an untouched row has no data at all
            if not label:
                continue
            if label in labels:
                row.add_error("label", f"Another row is called {label} already.")
            labels.add(label)
        for row in self.claims:
            row.look_up(labels)
        return sound and claims_sound and not self.has_row_errors

    @property
    def has_row_errors(self) -> bool:
        """Whether a row of ports or claims was sent back."""
        return any(rows.is_bound and not rows.is_valid() for rows in (self.ports, self.claims))

    def save(self) -> bool:
        """Write it; False, with the reason in the form, where the catalogue refuses."""
        try:
            self.adapter.maker = get_maker(self.form.cleaned_data["maker_name"])
            save_adapter(
                self.adapter,
                ports=[facts for row in self.ports if (facts := row.facts())],
                claims=[facts for row in self.claims if (facts := row.facts())],
            )
        except ValidationError as error:
            for field, errors in error.error_dict.items():
                known = field if field in self.form.fields else None
                for item in errors:
                    self.form.add_error(known, self._refusal(item))
            return False
        except ProtectedError as error:
            named = ", ".join(sorted({str(row) for row in error.protected_objects})[:3])
            self.form.add_error(
                None, f"A port with runs cannot be taken away; it is needed by {named}."
            )
            return False
        except IntegrityError:
            # Checked a moment ago: somebody else wrote the same maker, name or address since.
            self.form.add_error(
                None, "Somebody else wrote an entry of this name just now. Look at it first."
            )
            return False
        return True

    def _refusal(self, error: ValidationError) -> ValidationError:
        if error.code == "unique_together":
            return ValidationError(
                f"{self.adapter.maker.name} has an adapter called {self.adapter.name} already."
            )
        return error
