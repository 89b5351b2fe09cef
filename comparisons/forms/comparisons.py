"""What an editor says of a comparison."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from django import forms
from django.http import QueryDict

from catalog.models import Adapter, Viewer
from catalog.rest.fields import fault_of_plain
from comparisons.actions import MAX_ADAPTERS, MAX_CELL_NOTES
from comparisons.forms.builder import (
    CellNote,
    ChosenAdapter,
    ChosenMetric,
    cell_notes,
    condition_choices,
    condition_of_key,
    metric_sections,
    places,
    titles,
)
from comparisons.models import Comparison
from comparisons.queries.blocks import MOST_BLOCKS, BlockChoice, block_choices, is_block_key
from comparisons.queries.tables import conditions_measured
from measurements.kinds.base import Condition

_SLUG = re.compile(r"[-a-z0-9_]{1,160}", re.IGNORECASE | re.ASCII)
MAX_GROUP = 60
MAX_CELL_NOTE = 1000


@dataclass(frozen=True, slots=True)
class MetricChoice:
    """A metric as a tick box."""

    key: str
    title: str


class ComparisonForm(forms.Form):
    """What an editor says of a comparison.

    `q` only searches for adapters to add; `found` are those it finds, `chosen` those ticked,
    in their order. `seen` is when the draft was last read, so that two editors do not undo
    each other. `button` is the one that was pressed.
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

    def __init__(self, data: QueryDict, *, viewer: Viewer, button: str = "") -> None:
        super().__init__(data)
        self.said = data
        self.viewer = viewer
        self.button = button
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
        """From one adapter to as many as a table can show; remarks and headings that fit."""
        cleaned = super().clean() or self.cleaned_data
        if not 1 <= len(self.chosen) <= MAX_ADAPTERS:
            self.add_error(
                None,
                f"Choose from 1 to {MAX_ADAPTERS} adapters; {len(self.chosen)} are ticked.",
            )
        for sentence in self._faults():
            self.add_error(None, sentence)
        return cleaned

    def _faults(self) -> list[str]:
        faults = []
        if any(len(group) > MAX_GROUP for group in self.groups.values()):
            faults.append(f"A heading over adapters has at most {MAX_GROUP} characters.")
        notes = self.cell_notes
        if any(len(note.text) > MAX_CELL_NOTE for note in notes):
            faults.append(f"A note on a cell has at most {MAX_CELL_NOTE} characters.")
        if len(notes) > MAX_CELL_NOTES:
            faults.append(f"Write at most {MAX_CELL_NOTES} notes on cells.")
        if fault := fault_of_plain([*self.groups.values(), *(note.text for note in notes)]):
            faults.append(fault)
        if len(self.blocks) > MOST_BLOCKS:
            faults.append(f"Choose at most {MOST_BLOCKS} drawings.")
        faults += [
            f"“{key[:80]}” names no drawing." for key in self.blocks if not is_block_key(key)
        ]
        faults += [
            f"“{key[:80]}” is not a condition."
            for key in self._condition_keys.values()
            if condition_of_key(key) is None
        ]
        return faults

    @cached_property
    def chosen_metrics(self) -> list[ChosenMetric]:
        """The metrics ticked, in their order, each with the conditions to choose from."""
        known = titles()
        keys = [key for key in dict.fromkeys(self.said.getlist("metric")) if key in known]
        measured = conditions_measured(
            self.chosen, metrics=keys, viewer=self.viewer, tables=bool(self["tables"].value())
        )
        place = places("metric", keys, button=self.button)
        return [
            ChosenMetric(
                key,
                title=known[key][1],
                section=known[key][0],
                conditions=condition_choices(
                    measured.get(key, ()), chosen=self._condition_keys.get(key, "")
                ),
                place=place[key],
            )
            for key in keys
        ]

    @property
    def columns(self) -> list[ChosenAdapter]:
        """The adapters ticked, in their order."""
        slugs = [adapter.slug for adapter in self.chosen]
        place = places("adapter", slugs, button=self.button)
        return [
            ChosenAdapter(adapter, self.groups.get(adapter.slug, ""), place[adapter.slug])
            for adapter in self.chosen
        ]

    @property
    def metric_groups(self) -> list[tuple[str, list[MetricChoice]]]:
        """The metrics that are not ticked yet, by what computes them."""
        ticked = set(self.said.getlist("metric"))
        groups = [
            (title, [MetricChoice(key, name) for key, name in choices if key not in ticked])
            for title, choices in metric_sections()
        ]
        return [(title, choices) for title, choices in groups if choices]

    @cached_property
    def block_choices(self) -> tuple[BlockChoice, ...]:
        """What can be drawn beside the table, as far as the ticked adapters have data."""
        return block_choices(self.chosen, viewer=self.viewer) if self.chosen else ()

    @property
    def conditions(self) -> dict[str, Any]:
        """The parts of a condition that were asked for, as far as they are valid."""
        return {
            part: self.cleaned_data[part]
            for part in ("line", "output_v")
            if self.cleaned_data.get(part) not in ("", None)
        }

    @property
    def _condition_keys(self) -> dict[str, str]:
        keys = {metric: self.said.get(f"condition:{metric}", "") for metric in titles()}
        ticked = set(self.said.getlist("metric"))
        return {metric: key for metric, key in keys.items() if key and metric in ticked}

    @property
    def metric_conditions(self) -> list[dict[str, Any]]:
        """What narrows single metrics, in their order."""
        found = ((key, self._condition_keys.get(key, "")) for key in self.metrics)
        return [
            {"metric": metric, "conditions": parts}
            for metric, key in found
            if key and (parts := condition_of_key(key)) is not None
        ]

    @property
    def groups(self) -> dict[str, str]:
        """Adapter (slug) → the heading over its column."""
        said = {
            adapter.slug: self.said.get(f"group:{adapter.slug}", "").strip()
            for adapter in self.chosen
        }
        return {slug: group for slug, group in said.items() if group}

    @property
    def cell_notes(self) -> list[CellNote]:
        """The notes on cells of adapters and metrics that are ticked."""
        slugs = {adapter.slug for adapter in self.chosen}
        ticked = set(self.said.getlist("metric"))
        return [
            note
            for note in cell_notes(self.said)
            if note.adapter in slugs and note.metric in ticked
        ]

    @property
    def notes_to_write(self) -> list[CellNote]:
        """The notes on cells, and an empty one to write the next into."""
        return [*self.cell_notes, CellNote("", "", "")]

    @property
    def blocks(self) -> list[str]:
        """The keys of what is to be drawn beside the table."""
        return list(dict.fromkeys(self.said.getlist("block")))

    @property
    def with_tables(self) -> bool:
        """Whether results from tables fill the cells of what was not measured."""
        return bool(self.cleaned_data.get("tables"))

    @property
    def metrics(self) -> list[str]:
        """The metrics ticked, as far as they are valid."""
        return list(self.cleaned_data.get("metric", []))

    def fill(self, comparison: Comparison) -> None:
        """Put what was said on a comparison, adapters and their headings left out."""
        comparison.title = self.cleaned_data.get("title", comparison.title)
        comparison.notes = self.cleaned_data.get("notes", comparison.notes)
        comparison.with_tables = self.with_tables
        comparison.metrics = self.metrics
        comparison.conditions = self.conditions
        comparison.metric_conditions = self.metric_conditions
        comparison.cell_notes = [
            {"adapter": note.adapter, "metric": note.metric, "text": note.text}
            for note in self.cell_notes
        ]
        comparison.blocks = [key for key in self.blocks if is_block_key(key)]


def as_data(comparison: Comparison, *, columns: Mapping[str, str]) -> QueryDict:
    """A draft as the data of its form; `columns` is slug → heading, in order."""
    conditions: Mapping[str, Any] = comparison.conditions
    data = QueryDict(mutable=True)
    data["title"] = comparison.title
    data["notes"] = comparison.notes
    data["line"] = conditions.get("line", "")
    data["output_v"] = conditions.get("output_v", "")
    if comparison.with_tables:
        data["tables"] = "on"
    data["seen"] = comparison.changed_at.isoformat()
    data.setlist("adapter", list(columns))
    data.setlist("metric", list(comparison.metrics))
    data.setlist("block", list(comparison.blocks))
    for slug, group in columns.items():
        data[f"group:{slug}"] = group
    for item in comparison.metric_conditions:
        data[f"condition:{item['metric']}"] = Condition(**item["conditions"]).key
    for name in ("adapter", "metric", "text"):
        data.setlist(f"note_{name}", [note[name] for note in comparison.cell_notes])
    return data
