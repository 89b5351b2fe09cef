"""What a reader may ask of a ranking."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils import timezone

from catalog.models import Adapter, Maker, Viewer
from comparisons.queries.cohorts import Filters, KnownCondition, known_conditions
from measurements.kinds.base import Condition, Metric
from measurements.queries import condition_in_words, counts_tables

_SLUG = re.compile(r"[-a-z0-9_]{1,160}", re.IGNORECASE | re.ASCII)
MAX_POWER_W = 10_000


def unknown_parameters(asked: QueryDict, *, known: Iterable[str]) -> list[str]:
    """A sentence for every query parameter that the page does not know."""
    allowed = tuple(known)
    listed = ", ".join(allowed)
    return [
        f"“{name[:60]}” is not a filter of this page; it knows {listed}."
        for name in asked
        if name not in allowed
    ]


def table_choices() -> list[tuple[str, str]]:
    """The two positions of the switch, the site's own first."""
    choices = [("out", "no"), ("in", "yes")]
    return choices[::-1] if settings.COUNT_TABLES else choices


class RankingForm(forms.Form):
    """The filters of a ranking. Every field may be left out.

    After validation `condition_chosen` is the condition to rank by (None when the metric has
    no value at all), `filters` and `as_of` say who counts and when.
    """

    condition = forms.CharField(required=False, widget=forms.Select)
    power_min = forms.FloatField(
        label="Rated power from, W", required=False, min_value=0, max_value=MAX_POWER_W
    )
    power_max = forms.FloatField(
        label="Rated power to, W", required=False, min_value=0, max_value=MAX_POWER_W
    )
    ports_min = forms.IntegerField(
        label="Ports, at least", required=False, min_value=1, max_value=50
    )
    maker = forms.ModelChoiceField(
        Maker.objects.none(),
        required=False,
        to_field_name="slug",
        empty_label="every maker",
        error_messages={"invalid_choice": "No maker with a public adapter has that name."},
    )
    as_of = forms.DateField(
        label="As of",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={"invalid": "Write the date as 2026-11-24."},
    )
    tables = forms.ChoiceField(label="Count results from tables (no raw record)", required=False)
    mark = forms.CharField(required=False, widget=forms.HiddenInput)
    start = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)

    # `condition` depends on the date and the tables and is looked at after them.
    field_order = ("as_of", "tables", "condition")

    def __init__(self, data: QueryDict, *, metric: Metric, viewer: Viewer) -> None:
        super().__init__(data, label_suffix="")
        self.metric = metric
        self.viewer = viewer
        switch = self.fields["tables"]
        assert isinstance(switch, forms.ChoiceField)
        switch.choices = table_choices()
        self.counts = counts_tables(data.get("tables"))
        self.known: list[KnownCondition] = known_conditions(
            metric, viewer=viewer, tables=self.counts
        )
        self.condition_chosen: Condition | None = None
        visible = Adapter.objects.visible_to(viewer)
        makers = self.fields["maker"]
        assert isinstance(makers, forms.ModelChoiceField)
        makers.queryset = Maker.objects.filter(adapters__in=visible).distinct().order_by("name")
        self._offer(self.known)

    def _offer(self, known: list[KnownCondition]) -> None:
        widget = self.fields["condition"].widget
        assert isinstance(widget, forms.Select)
        widget.choices = [
            (item.condition.key, f"{condition_in_words(item.condition)} ({item.count})")
            for item in known
        ]

    def clean_as_of(self) -> date | None:
        """A day that has come."""
        day: date | None = self.cleaned_data["as_of"]
        if day is not None and day > timezone.now().date():
            raise ValidationError("That day has not come yet.")
        return day

    def clean_condition(self) -> str:
        """One of the conditions under which there are values; the plainest when none is named."""
        if self.moment is not None:
            self.known = known_conditions(
                self.metric, viewer=self.viewer, as_of=self.moment, tables=self.counts
            )
            self._offer(self.known)
        asked: str = self.cleaned_data["condition"]
        if not asked:
            self.condition_chosen = self.known[0].condition if self.known else None
            return ""
        for item in self.known:
            if item.condition.key == asked:
                self.condition_chosen = item.condition
                return asked
        raise ValidationError(
            "There is no value under that condition; choose one of the list."
            + ("" if self.counts else " Results from tables are left out.")
        )

    def clean_mark(self) -> Adapter | None:
        """The adapter to mark."""
        slug: str = self.cleaned_data["mark"]
        if not slug:
            return None
        adapter = Adapter.objects.visible_to(self.viewer).select_related("maker")
        found = adapter.filter(slug=slug).first() if _SLUG.fullmatch(slug) else None
        if found is None:
            raise ValidationError("The adapter to mark is not in the catalogue.")
        return found

    def clean(self) -> dict[str, Any]:
        """The two ends of the power range in order."""
        cleaned = super().clean() or self.cleaned_data
        low, high = cleaned.get("power_min"), cleaned.get("power_max")
        if low is not None and high is not None and low > high:
            self.add_error("power_max", "The range runs from its lower to its higher end.")
        return cleaned

    @property
    def moment(self) -> datetime | None:
        """The end of the day asked for; None for now."""
        day: date | None = self.cleaned_data.get("as_of")
        if day is None or day == timezone.now().date():
            return None
        return datetime.combine(day + timedelta(days=1), time.min, tzinfo=UTC)

    @property
    def filters(self) -> Filters:
        """Which adapters count."""
        maker: Maker | None = self.cleaned_data.get("maker")
        return Filters(
            power_min=self.cleaned_data.get("power_min"),
            power_max=self.cleaned_data.get("power_max"),
            ports_min=self.cleaned_data.get("ports_min"),
            maker=maker.slug if maker else "",
        )

    @property
    def as_api_query(self) -> str:
        """The same view as the query of the API's ranking."""
        condition = self.condition_chosen
        parts: dict[str, Any] = dict(condition.as_json()) if condition else {}
        for name in ("power_min", "power_max", "ports_min", "as_of"):
            if (value := self.cleaned_data.get(name)) is not None:
                parts[name] = value
        if self.filters.maker:
            parts["maker"] = self.filters.maker
        if self.tables_said:
            parts["tables"] = self.tables_said
        return urlencode(parts)

    @property
    def tables_said(self) -> str:
        """How an address that shows this view says whether tables count; "" where it need not."""
        if self.counts:
            return "in"
        return "out" if settings.COUNT_TABLES else ""

    @property
    def filters_in_words(self) -> str:
        """Who counts, to follow “adapters”: `` of Northfold, from 60 to 100 W``."""
        chosen, words = self.filters, []
        if self.cleaned_data.get("maker"):
            words.append(f" of {self.cleaned_data['maker']}")
        if chosen.power_min is not None:
            words.append(f" from {chosen.power_min:g} W")
        if chosen.power_max is not None:
            words.append(f" up to {chosen.power_max:g} W")
        if chosen.ports_min:
            noun = "port" if chosen.ports_min == 1 else "ports"
            words.append(f" with at least {chosen.ports_min} {noun}")
        return "".join(words)
