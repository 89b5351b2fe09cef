"""The filters that lists and rankings of adapters share, in the address."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef

from catalog.forms import FilterForm
from catalog.models import Adapter, AdapterQuerySet, Maker, Port, Viewer
from catalog.queries import as_one_parameter, find
from comparisons.queries.cohorts import Filters

MAX_POWER_W = 10_000
# The USB PD fields reach 65 V and more; what no adapter of this kind advertises is a slip.
MAX_PROFILE_V = 100
MAX_PRICE = Decimal("999999.99")
FIRST_YEAR, LAST_YEAR = 1996, 2100  # the first USB specification is of 1996

FILTER_NAMES = (
    "power_min",
    "power_max",
    "ports_min",
    "maker",
    "connector",
    "profile_v",
    "enclosure",
    "year_min",
    "year_max",
    "price_min",
    "price_max",
    "currency",
)
_FIRST_SHOWN = ("power_min", "power_max", "ports_min", "profile_v", "maker")
_ENDS = (("power_min", "power_max"), ("year_min", "year_max"), ("price_min", "price_max"))


class VoltageField(forms.FloatField):
    """A voltage [V], with or without its unit: ``28``, ``28 V``."""

    widget = forms.TextInput(attrs={"size": 5, "inputmode": "decimal"})

    def to_python(self, value: Any) -> Any:
        """The number before the unit."""
        return super().to_python(re.sub(r"\s*[vV]\s*\Z", "", value) if value else value)


class NarrowingForm(forms.Form):
    """Which adapters count. Every field may be left out; `filters` is valid after validation."""

    power_min = forms.FloatField(
        label="Rated power from, W", required=False, min_value=0, max_value=MAX_POWER_W
    )
    power_max = forms.FloatField(
        label="Rated power to, W", required=False, min_value=0, max_value=MAX_POWER_W
    )
    ports_min = forms.IntegerField(
        label="Ports, at least", required=False, min_value=1, max_value=100
    )
    profile_v = VoltageField(
        label="Advertises, V",
        required=False,
        min_value=1,
        max_value=MAX_PROFILE_V,
        error_messages={"invalid": "Write a voltage such as 28 V."},
    )
    maker = forms.ModelChoiceField(
        Maker.objects.none(),
        required=False,
        to_field_name="slug",
        empty_label="every maker",
        error_messages={"invalid_choice": "No maker with a public adapter has that name."},
    )
    connector = forms.ChoiceField(choices=[("", "any"), *Port.Connector.choices], required=False)
    enclosure = forms.ChoiceField(choices=[("", "any"), *Adapter.Enclosure.choices], required=False)
    year_min = forms.IntegerField(
        label="Released from, year", required=False, min_value=FIRST_YEAR, max_value=LAST_YEAR
    )
    year_max = forms.IntegerField(
        label="Released to, year", required=False, min_value=FIRST_YEAR, max_value=LAST_YEAR
    )
    price_min = forms.DecimalField(
        label="Price from", required=False, min_value=0, max_value=MAX_PRICE, decimal_places=2
    )
    price_max = forms.DecimalField(
        label="Price to", required=False, min_value=0, max_value=MAX_PRICE, decimal_places=2
    )
    currency = forms.CharField(
        label="in currency",
        required=False,
        max_length=3,
        widget=forms.TextInput(attrs={"size": 4, "autocapitalize": "characters"}),
    )

    def __init__(self, data: Mapping[str, Any] | None, *, viewer: Viewer, **kw: Any) -> None:
        super().__init__(data, **kw)
        self.viewer = viewer
        makers = self.fields["maker"]
        assert isinstance(makers, forms.ModelChoiceField)
        known = Adapter.objects.visible_to(viewer).filter(maker=OuterRef("pk"))
        makers.queryset = Maker.objects.filter(Exists(known)).order_by("name")

    def clean_currency(self) -> str:
        """Three capital letters, or nothing."""
        currency: str = self.cleaned_data["currency"].strip().upper()
        if currency and not (len(currency) == 3 and currency.isascii() and currency.isalpha()):
            raise ValidationError("Give three letters of ISO 4217, such as EUR.")
        return currency

    def clean(self) -> dict[str, Any]:
        """Ranges run upward, and a price is one in some currency."""
        cleaned = super().clean() or self.cleaned_data
        for lower, upper in _ENDS:
            low, high = cleaned.get(lower), cleaned.get(upper)
            if low is not None and high is not None and low > high:
                self.add_error(upper, "The range runs from its lower to its higher end.")
        priced = any(cleaned.get(name) is not None for name in ("price_min", "price_max"))
        if priced and not cleaned.get("currency") and "currency" not in self.errors:
            self.add_error("currency", "Say in which currency the price is, such as EUR.")
        return cleaned

    @property
    def filters(self) -> Filters:
        """Which adapters count."""
        given = {name: self.cleaned_data.get(name) for name in FILTER_NAMES}
        maker = given.pop("maker")
        known = {name: value for name, value in given.items() if value is not None}
        return Filters(maker=maker.slug if maker else "", **known)

    @property
    def filters_in_words(self) -> str:
        """Who counts, to follow “adapters”: `` of Northfold, rated 60 to 100 W``."""
        maker = self.cleaned_data.get("maker")
        return self.filters.in_words(maker=maker.name if maker else "")

    @property
    def filter_query(self) -> dict[str, str]:
        """The filters as the query of an address, the API's among them."""
        filters = self.filters
        given = {name: getattr(filters, name) for name in FILTER_NAMES}
        return {
            name: str(value).removesuffix(".0")  # every digit, so that it is the same view
            for name, value in given.items()
            if value not in (None, "")
        }

    @property
    def first_filters(self) -> list[forms.BoundField]:
        """The filters that are asked for most."""
        return [self[name] for name in _FIRST_SHOWN]

    @property
    def more_filters(self) -> list[forms.BoundField]:
        """The others."""
        return [self[name] for name in FILTER_NAMES if name not in _FIRST_SHOWN]

    @property
    def more_filters_used(self) -> bool:
        """Whether any of the others is given."""
        return any(item.data for item in self.more_filters)


class AdapterListForm(NarrowingForm, FilterForm):
    """Which adapters are listed."""

    q = forms.CharField(
        label="Maker, name or model number", required=False, max_length=100, empty_value=""
    )

    def narrow(self, adapters: AdapterQuerySet) -> AdapterQuerySet:
        """Those of `adapters` that the filters let through; only after `is_valid()`."""
        if asked := self.cleaned_data["q"]:
            found = find(asked, viewer=self.viewer).adapters
            adapters = adapters.filter(pk__in=as_one_parameter(found))
        return self.filters.adapters_among(adapters)
