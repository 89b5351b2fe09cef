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

from catalog.models import Adapter, Viewer
from comparisons.forms.filters import NarrowingForm
from comparisons.queries.cohorts import KnownCondition, known_conditions
from measurements.kinds.base import Condition, Metric
from measurements.queries import condition_in_words, counts_tables

_SLUG = re.compile(r"[-a-z0-9_]{1,160}", re.IGNORECASE | re.ASCII)


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


def condition_choices(known: Iterable[KnownCondition]) -> list[tuple[str, str]]:
    """Conditions as a select offers them, each with the number of adapters that have a value."""
    return [
        (item.condition.key, f"{condition_in_words(item.condition)} ({item.count})")
        for item in known
    ]


class DatedForm(NarrowingForm):
    """Which adapters count, on which day, and whether results of tables do.

    Every field may be left out. `as_of` is looked at before what depends on it.
    """

    as_of = forms.DateField(
        label="As of",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={"invalid": "Write the date as 2026-11-24."},
    )
    tables = forms.ChoiceField(label="Count results from tables (no raw record)", required=False)
    start = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)

    field_order: tuple[str, ...] = ("as_of", "tables")

    def __init__(self, data: QueryDict, *, viewer: Viewer) -> None:
        super().__init__(data, viewer=viewer, label_suffix="")
        switch = self.fields["tables"]
        assert isinstance(switch, forms.ChoiceField)
        switch.choices = table_choices()
        self.counts = counts_tables(data.get("tables"))

    def clean_as_of(self) -> date | None:
        """A day that has come."""
        day: date | None = self.cleaned_data["as_of"]
        if day is not None and day > timezone.now().date():
            raise ValidationError("That day has not come yet.")
        return day

    @property
    def moment(self) -> datetime | None:
        """The end of the day asked for; None for now."""
        day: date | None = self.cleaned_data.get("as_of")
        if day is None or day == timezone.now().date():
            return None
        return _end_of(day)

    @property
    def day(self) -> date:
        """The day whose end is shown: the one asked for, else today (UTC)."""
        asked: date | None = self.cleaned_data.get("as_of")
        return asked or timezone.now().date()

    @property
    def day_in_words(self) -> str:
        """When: a day that is over stays as it was, today does not."""
        return f"as it stood at the end of {self.day}" if self.moment else f"as of {self.day}"

    @property
    def tables_said(self) -> str:
        """How an address that shows this view says whether tables count; "" where it need not."""
        if self.counts:
            return "in"
        return "out" if settings.COUNT_TABLES else ""

    def chosen_among(self, known: list[KnownCondition], *, asked: str) -> Condition | None:
        """The condition of that key, the plainest of none; None where nothing is known.

        Raises `ValidationError` for a key that is not among them.
        """
        if not asked:
            return known[0].condition if known else None
        for item in known:
            if item.condition.key == asked:
                return item.condition
        raise ValidationError(
            "There is no value under that condition; choose one of the list."
            + ("" if self.counts else " Results from tables are left out.")
        )


class RankingForm(DatedForm):
    """The filters of a ranking. Every field may be left out.

    After validation `condition_chosen` is the condition to rank by (None when the metric has
    no value at all), `filters` and `as_of` say who counts and when.
    """

    condition = forms.CharField(required=False, widget=forms.Select)
    since = forms.DateField(
        label="Changes since",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={"invalid": "Write the date as 2026-11-24."},
    )
    mark = forms.CharField(required=False, widget=forms.HiddenInput)

    # `condition` depends on the date and the tables and is looked at after them.
    field_order = ("as_of", "tables", "condition")

    def __init__(self, data: QueryDict, *, metric: Metric, viewer: Viewer) -> None:
        super().__init__(data, viewer=viewer)
        self.metric = metric
        self.known: list[KnownCondition] = known_conditions(
            metric, viewer=viewer, tables=self.counts
        )
        self.condition_chosen: Condition | None = None
        self._offer(self.known)

    def _offer(self, known: list[KnownCondition]) -> None:
        widget = self.fields["condition"].widget
        assert isinstance(widget, forms.Select)
        widget.choices = condition_choices(known)

    def clean_since(self) -> date | None:
        """A day that is over, and before the day of the ranking."""
        day: date | None = self.cleaned_data["since"]
        latest = self.cleaned_data.get("as_of") or timezone.now().date()
        if day is not None and day >= latest:
            raise ValidationError("Name a day before that of the ranking.")
        return day

    def clean_condition(self) -> str:
        """One of the conditions under which there are values; the plainest when none is named."""
        if self.moment is not None:
            self.known = known_conditions(
                self.metric, viewer=self.viewer, as_of=self.moment, tables=self.counts
            )
            self._offer(self.known)
        asked: str = self.cleaned_data["condition"]
        self.condition_chosen = self.chosen_among(self.known, asked=asked)
        return asked

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

    @property
    def moment_before(self) -> datetime | None:
        """The end of the day since which changes are told; None for no such question."""
        day: date | None = self.cleaned_data.get("since")
        return None if day is None else _end_of(day)

    @property
    def permanent_query(self) -> str:
        """The same view as a query that names its day, condition and filters."""
        parts = dict(self.filter_query)
        if self.condition_chosen:
            parts["condition"] = self.condition_chosen.key
        parts["tables"] = "in" if self.counts else "out"
        parts["as_of"] = str(self.day)
        return urlencode(parts)

    @property
    def as_api_query(self) -> str:
        """The same view as the query of the API's ranking."""
        condition = self.condition_chosen
        parts: dict[str, Any] = dict(condition.as_json()) if condition else {}
        parts |= self.filter_query
        if (day := self.cleaned_data.get("as_of")) is not None:
            parts["as_of"] = day
        if self.tables_said:
            parts["tables"] = self.tables_said
        return urlencode(parts)


def _end_of(day: date) -> datetime:
    return datetime.combine(day + timedelta(days=1), time.min, tzinfo=UTC)
