"""What an editor says of a comparison."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import forms
from django.http import QueryDict

from catalog.models import Adapter, Viewer
from comparisons.actions import MAX_ADAPTERS
from comparisons.models import Comparison
from comparisons.queries.tables import PHYSICAL_SECTION
from measurements.kinds import all_kinds, physical

_SLUG = re.compile(r"[-a-z0-9_]{1,160}", re.IGNORECASE | re.ASCII)


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
    tables = forms.BooleanField(
        label="Count results from tables (no raw record)",
        required=False,
        help_text="They fill the cells of what was not measured, and are marked.",
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
    def with_tables(self) -> bool:
        """Whether results from tables fill the cells of what was not measured."""
        return bool(self.cleaned_data.get("tables"))

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
    if comparison.with_tables:
        data["tables"] = "on"
    data["seen"] = comparison.changed_at.isoformat()
    data.setlist("adapter", [adapter.slug for adapter in adapters])
    data.setlist("metric", list(comparison.metrics))
    return data
