"""What a reader may ask of a ranking, and what an editor says of a comparison."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils import timezone

from catalog.models import Adapter, Maker, Viewer
from comparisons.actions import MAX_ADAPTERS
from comparisons.models import Comparison
from comparisons.queries.cohorts import Filters, KnownCondition, known_conditions
from comparisons.queries.tables import PHYSICAL_SECTION
from measurements.kinds import all_kinds, physical
from measurements.kinds.base import Condition, Metric
from measurements.queries import condition_in_words

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
    mark = forms.CharField(required=False, widget=forms.HiddenInput)
    start = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)

    # `condition` depends on the date and is looked at after it.
    field_order = ("as_of", "condition")

    def __init__(self, data: QueryDict, *, metric: Metric, viewer: Viewer) -> None:
        super().__init__(data, label_suffix="")
        self.metric = metric
        self.viewer = viewer
        self.known: list[KnownCondition] = known_conditions(metric, viewer=viewer)
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
            self.known = known_conditions(self.metric, viewer=self.viewer, as_of=self.moment)
            self._offer(self.known)
        asked: str = self.cleaned_data["condition"]
        if not asked:
            self.condition_chosen = self.known[0].condition if self.known else None
            return ""
        for item in self.known:
            if item.condition.key == asked:
                self.condition_chosen = item.condition
                return asked
        raise ValidationError("There is no value under that condition; choose one of the list.")

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
        return urlencode(parts)

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


@dataclass(frozen=True, slots=True)
class MetricChoice:
    """A metric as a tick box."""

    key: str
    title: str
    ticked: bool


def metric_sections() -> list[tuple[str, list[tuple[str, str]]]]:
    """Every metric as a choice, grouped by what computes it."""
    sections = [
        (kind.title, [(metric.key, metric.title) for metric in kind.metrics if metric.ranked])
        for kind in all_kinds()
    ]
    sections.append((PHYSICAL_SECTION, [(item.key, item.title) for item in physical.METRICS]))
    return sections


class ComparisonForm(forms.Form):
    """What an editor says of a comparison.

    `q` only searches for adapters to add; `found` are those it finds, `chosen` those ticked,
    in their order. `seen` is when the draft was last read, so that two editors do not undo
    each other.
    """

    title = forms.CharField(max_length=150)
    q = forms.CharField(label="Find adapters to add", required=False, max_length=100)
    metric = forms.MultipleChoiceField(
        label="Metrics",
        choices=metric_sections,
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Choose at least one metric.",
            "invalid_choice": "“%(value)s” is not a metric that can be compared.",
        },
    )
    line = forms.ChoiceField(
        label="Mains",
        required=False,
        choices=[("", "both"), ("high", "230 V mains"), ("low", "115 V mains")],
    )
    output_v = forms.FloatField(
        label="Output voltage, V",
        required=False,
        min_value=0,
        max_value=100,
        help_text="Empty: every output voltage that was measured.",
    )
    notes = forms.CharField(
        required=False, max_length=5000, widget=forms.Textarea(attrs={"rows": 4})
    )
    seen = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)

    FOUND_SHOWN = 20

    def __init__(self, data: QueryDict, *, viewer: Viewer) -> None:
        super().__init__(data)
        self.viewer = viewer
        self.chosen = self._chosen(data.getlist("adapter"))
        self.found, self.found_more = self._found()

    def _chosen(self, slugs: list[str]) -> list[Adapter]:
        wanted = [slug for slug in dict.fromkeys(slugs) if _SLUG.fullmatch(slug)][:100]
        visible = Adapter.objects.visible_to(self.viewer).select_related("maker")
        by_slug = {adapter.slug: adapter for adapter in visible.filter(slug__in=wanted)}
        return [by_slug[slug] for slug in wanted if slug in by_slug]

    def _found(self) -> tuple[list[Adapter], bool]:
        words = self["q"].value() or ""
        if not words.strip() or "\0" in words or len(words) > 100:
            return [], False
        rows = list(
            Adapter.objects.visible_to(self.viewer)
            .search(words)
            .exclude(pk__in=[adapter.pk for adapter in self.chosen])
            .select_related("maker")
            .order_by("maker__name", "name")[: self.FOUND_SHOWN + 1]
        )
        return rows[: self.FOUND_SHOWN], len(rows) > self.FOUND_SHOWN

    def clean_seen(self) -> datetime | None:
        """When the draft was read; nothing when that was not said."""
        text: str = self.cleaned_data["seen"]
        try:
            return datetime.fromisoformat(text) if text else None
        except ValueError:
            return None

    def clean(self) -> dict[str, Any]:
        """From one adapter to as many as a table can show."""
        cleaned = super().clean() or self.cleaned_data
        if not 1 <= len(self.chosen) <= MAX_ADAPTERS:
            self.add_error(
                None,
                f"Choose from 1 to {MAX_ADAPTERS} adapters; {len(self.chosen)} are ticked.",
            )
        return cleaned

    @property
    def metric_groups(self) -> list[tuple[str, list[MetricChoice]]]:
        """The tick boxes of the metrics, by what computes them."""
        ticked = set(self["metric"].value() or ())
        return [
            (title, [MetricChoice(key, name, key in ticked) for key, name in choices])
            for title, choices in metric_sections()
        ]

    @property
    def conditions(self) -> dict[str, Any]:
        """The parts of a condition that were asked for, as far as they are valid."""
        return {
            part: self.cleaned_data[part]
            for part in ("line", "output_v")
            if self.cleaned_data.get(part) not in ("", None)
        }

    @property
    def metrics(self) -> list[str]:
        """The metrics ticked, as far as they are valid."""
        return list(self.cleaned_data.get("metric", []))


def as_data(comparison: Comparison, *, adapters: Iterable[Adapter]) -> QueryDict:
    """A draft as the data of its form."""
    conditions: Mapping[str, Any] = comparison.conditions
    data = QueryDict(mutable=True)
    data["title"] = comparison.title
    data["notes"] = comparison.notes
    data["line"] = conditions.get("line", "")
    data["output_v"] = conditions.get("output_v", "")
    data["seen"] = comparison.changed_at.isoformat()
    data.setlist("adapter", [adapter.slug for adapter in adapters])
    data.setlist("metric", list(comparison.metrics))
    return data
