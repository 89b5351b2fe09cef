"""Rankings, placements and comparison tables as the API reads and writes them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from catalog.models import Viewer
from catalog.rest.fields import Body, NumberField, TextField, WordField, utc_text
from comparisons.actions import MAX_ADAPTERS, MAX_CELL_NOTES, compared_adapters
from comparisons.models import Comparison
from comparisons.queries.blocks import MOST_BLOCKS, is_block_key
from comparisons.queries.cohorts import SetApart
from comparisons.queries.contents import content_of, departures_of, groups_of, seal_of
from comparisons.queries.placements import Placement
from comparisons.queries.rankings import RankedRow
from comparisons.ranking import Spread
from measurements.kinds import all_metrics
from measurements.parameters import LOADS
from measurements.serializers import source_json


class ConditionsBody(Body):
    """What narrows the rows of a table, where a metric has that part."""

    line = WordField(choices=["high", "low"], required=False)
    output_v = NumberField(above=0, maximum=1000, required=False)
    load = WordField(choices=list(LOADS), required=False)
    device = TextField(max_length=100, required=False)
    sensor = TextField(max_length=60, required=False)
    port = TextField(max_length=20, required=False)


class MetricConditionsBody(Body):
    """What narrows the rows of one metric, beside the conditions of the whole table."""

    metric = TextField(max_length=40, known=all_metrics())
    conditions = ConditionsBody()


class CellNoteBody(Body):
    """A remark on the cells of one adapter (slug) and one metric (key)."""

    adapter = TextField(max_length=160)
    metric = TextField(max_length=40, known=all_metrics())
    text = TextField(max_length=1000)


class GroupBody(Body):
    """The heading that the column of an adapter (slug) stands under."""

    adapter = TextField(max_length=160)
    group = TextField(max_length=60)


class ComparisonBody(Body):
    """A table of adapters (slugs, in the order of their columns) by metrics (keys)."""

    title = TextField(max_length=150)
    adapters = serializers.ListField(
        child=TextField(max_length=160), min_length=1, max_length=MAX_ADAPTERS
    )
    metrics = serializers.ListField(
        child=TextField(max_length=40, known=all_metrics()), min_length=1, max_length=200
    )
    conditions = ConditionsBody(required=False)
    notes = TextField(max_length=20_000, allow_blank=True, required=False)
    tables = WordField(choices=["in", "out"], required=False)
    metric_conditions = serializers.ListField(
        child=MetricConditionsBody(), max_length=200, required=False
    )
    cell_notes = serializers.ListField(
        child=CellNoteBody(), max_length=MAX_CELL_NOTES, required=False
    )
    groups = serializers.ListField(child=GroupBody(), max_length=MAX_ADAPTERS, required=False)
    blocks = serializers.ListField(
        child=TextField(max_length=120), max_length=MOST_BLOCKS, required=False
    )

    def validate_blocks(self, keys: list[str]) -> list[str]:
        """Refuse what names no drawing."""
        if unknown := [key for key in keys if not is_block_key(key)]:
            raise serializers.ValidationError([f"“{key}” names no drawing." for key in unknown])
        return keys

    def validate_metrics(self, keys: list[str]) -> list[str]:
        """Refuse metrics that the site does not compute."""
        if unknown := [key for key in keys if key not in all_metrics()]:
            raise serializers.ValidationError([f"No metric is called “{key}”." for key in unknown])
        return keys


class PublishBody(Body):
    """What the editor has read: the seal of the table's departures, null where there are none."""

    departures_read = TextField(max_length=16, required=False, allow_null=True)


def spread_json(spread: Spread) -> dict[str, Any]:
    """How many adapters a cohort has, and its median and quartiles."""
    return {
        "count": spread.count,
        "median": spread.median,
        "quartiles": list(spread.quartiles) if spread.quartiles else None,
    }


def ranked_json(row: RankedRow) -> dict[str, Any]:
    """One adapter's place; `near_ties` may be fewer than `near_tie_count`."""
    return {
        "rank": row.rank,
        "rank_low": row.interval.low if row.interval else None,
        "rank_high": row.interval.high if row.interval else None,
        "adapter": row.adapter.slug,
        "value": row.value,
        "standard_uncertainty": row.standard_uncertainty,
        "percentile": row.percentile,
        "near_ties": [adapter.slug for adapter in row.near_ties],
        "near_tie_count": row.near_tie_count,
        "run": str(row.run_id) if row.run_id else None,
        "method": row.method,
        **source_json(row.source, row.table_id),
    }


def apart_json(apart: SetApart) -> dict[str, Any]:
    """A value that stands but is not comparable, and why."""
    return {
        "adapter": apart.adapter.slug,
        "value": apart.value,
        "standard_uncertainty": apart.standard_uncertainty,
        "reason": apart.reason,
        "run": str(apart.run_id) if apart.run_id else None,
    }


def placement_json(place: Placement) -> dict[str, Any]:
    """One place of an adapter; rank and percentile are null for what is not comparable."""
    return {
        "metric": place.metric.key,
        "condition": place.condition.as_json(),
        "value": place.value,
        "unit": place.metric.unit,
        "standard_uncertainty": place.standard_uncertainty,
        "rank": place.rank,
        "count": place.count,
        "percentile": place.percentile,
        "near_tie_count": place.near_tie_count,
        "run": str(place.run_id) if place.run_id else None,
        "method": place.method,
        **source_json(place.source, place.table_id),
        "not_comparable": place.apart or None,
    }


def comparison_summary(comparison: Comparison) -> dict[str, Any]:
    """A comparison as lists show it."""
    published = comparison.published_at
    return {
        "slug": comparison.slug,
        "title": comparison.title,
        "state": comparison.state,
        "published_at": utc_text(published) if published else None,
        "hash": comparison.frozen_hash or None,
    }


def comparison_fields(comparison: Comparison) -> dict[str, Any]:
    """All that `ComparisonBody` reads, as it stands now: what a change starts from."""
    return {
        "title": comparison.title,
        "adapters": [adapter.slug for adapter in compared_adapters(comparison)],
        "metrics": comparison.metrics,
        "conditions": comparison.conditions,
        "notes": comparison.notes,
        "tables": "in" if comparison.with_tables else "out",
        "metric_conditions": comparison.metric_conditions,
        "cell_notes": comparison.cell_notes,
        "groups": [
            {"adapter": slug, "group": group} for slug, group in groups_of(comparison).items()
        ],
        "blocks": comparison.blocks,
    }


def still_there(present: dict[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """The present fields without what is said of adapters and metrics that a change leaves out."""
    kept = {name: change.get(name, present[name]) for name in ("adapters", "metrics")}
    if not all(isinstance(items, list) for items in kept.values()):
        return present
    return {
        name: [
            item
            for item in said
            if item.get("adapter") in (None, *kept["adapters"])
            and item.get("metric") in (None, *kept["metrics"])
        ]
        if name in ("metric_conditions", "cell_notes", "groups")
        else said
        for name, said in present.items()
    }


def comparison_json(comparison: Comparison, *, viewer: Viewer) -> dict[str, Any]:
    """A comparison with its table: live for a draft, frozen once published.

    `hash` is the SHA-256 of the frozen `table` as JSON with sorted keys, no spaces, ASCII.
    """
    table = content_of(comparison, viewer=viewer)
    return {
        **comparison_summary(comparison),
        **comparison_fields(comparison),
        "revises": comparison.revises.slug if comparison.revises else None,
        "departures": {"count": len(departures_of(table)), "seal": seal_of(table) or None},
        "table": table,
    }
