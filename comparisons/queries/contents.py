"""The whole content of a comparison as plain data: what a draft shows and publishing freezes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

from catalog.models import Adapter, Viewer
from comparisons.models import Comparison
from comparisons.queries.blocks import blocks_of
from comparisons.queries.departures import departures
from comparisons.queries.tables import HIGHLIGHT_RULE, Table, as_frozen, comparison_table


def compared_adapters(comparison: Comparison) -> list[Adapter]:
    """The adapters of a comparison in the order of their columns, in one query."""
    return [adapter for adapter, _ in _columns(comparison)]


def _columns(comparison: Comparison) -> list[tuple[Adapter, str]]:
    columns = comparison.columns.select_related("adapter__maker").order_by("position")
    return [(column.adapter, column.group) for column in columns]


def groups_of(comparison: Comparison) -> dict[str, str]:
    """Adapter (slug) → the heading that its column stands under, where it has one. One query."""
    return {adapter.slug: group for adapter, group in _columns(comparison) if group}


def content_of(comparison: Comparison, *, viewer: Viewer) -> dict[str, Any]:
    """What the stored comparison shows: frozen for a published one, live for a draft."""
    if comparison.frozen is not None:
        frozen: dict[str, Any] = comparison.frozen
        return frozen
    columns = _columns(comparison)
    return live_content(
        comparison,
        adapters=[adapter for adapter, _ in columns],
        groups={adapter.slug: group for adapter, group in columns},
        viewer=viewer,
    )


def live_content(
    comparison: Comparison,
    *,
    adapters: Sequence[Adapter],
    groups: Mapping[str, str],
    viewer: Viewer,
) -> dict[str, Any]:
    """What a comparison of these adapters, saved or not, shows this person now.

    Beside the table: the rule of highlighting, numbered remarks, departures from like
    conditions, and the blocks. The number of queries grows with the blocks only.
    """
    table = comparison_table(
        adapters,
        metrics=comparison.metrics,
        conditions=comparison.conditions,
        viewer=viewer,
        tables=comparison.with_tables,
        metric_conditions=comparison.metric_conditions,
    )
    content = as_frozen(table)
    for adapter in content["adapters"]:
        adapter["group"] = groups.get(adapter["slug"], "")
    remarks = _remarks(comparison, table)
    for row, kept in zip(content["rows"], table.rows, strict=True):
        row["remarks"] = [
            [
                item["number"]
                for item in remarks
                if (item["adapter"], item["metric"]) == (adapter.slug, kept.metric.key)
            ]
            for adapter in table.adapters
        ]
    return {
        **content,
        "title": comparison.title,
        "notes": comparison.notes,
        "highlight_rule": HIGHLIGHT_RULE,
        "conditions": comparison.conditions,
        "metric_conditions": comparison.metric_conditions,
        "remarks": remarks,
        "departures": [
            {
                "rule": item.rule,
                "sentence": item.sentence,
                "cells": [list(place) for place in item.cells],
            }
            for item in departures(table)
        ],
        "block_keys": comparison.blocks,
        "blocks": blocks_of(adapters, comparison.blocks, viewer=viewer),
    }


def general_remarks(content: Mapping[str, Any]) -> list[str]:
    """The lines of the notes, which are the first remarks."""
    return _lines(content.get("notes", ""))


def _lines(notes: str) -> list[str]:
    return [line.strip() for line in notes.splitlines() if line.strip()]


def _remarks(comparison: Comparison, table: Table) -> list[dict[str, Any]]:
    """Notes on cells in the order of the table, numbered on from the general ones."""
    first = len(_lines(comparison.notes)) + 1
    rows = {key: at for at, key in enumerate(dict.fromkeys(row.metric.key for row in table.rows))}
    columns = {adapter.slug: at for at, adapter in enumerate(table.adapters)}
    placed = sorted(
        (
            item
            for item in comparison.cell_notes
            if item["metric"] in rows and item["adapter"] in columns
        ),
        key=lambda item: (rows[item["metric"]], columns[item["adapter"]]),
    )
    return [{"number": number, **item} for number, item in enumerate(placed, start=first)]


def departures_of(content: Mapping[str, Any]) -> list[str]:
    """The departures of a table as sentences; none in one that was frozen before they were kept."""
    return [item["sentence"] for item in content.get("departures", ())]


def seal_of(content: Mapping[str, Any]) -> str:
    """What stands for having read just these departures: part of a SHA-256; "" without any."""
    sentences = departures_of(content)
    if not sentences:
        return ""
    return hashlib.sha256("\n".join(sentences).encode()).hexdigest()[:16]
