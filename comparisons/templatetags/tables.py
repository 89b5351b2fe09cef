"""A comparison table as its page lays it out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django import template

from comparisons.queries.blocks import runs_of_block
from comparisons.queries.tables import HIGHLIGHT_RULE

register = template.Library()


@dataclass(frozen=True, slots=True)
class PlacedCell:
    """A cell, or None for what was not tested, with the numbers of the remarks on it."""

    cell: Mapping[str, Any] | None
    remarks: Sequence[int]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading over neighbouring columns; empty over those of no group."""

    title: str
    span: int


@register.filter
def placed_cells(row: Mapping[str, Any]) -> list[PlacedCell]:
    """The cells of a frozen row; one from before remarks on cells has none."""
    remarks = row.get("remarks") or [[] for _ in row["cells"]]
    return [PlacedCell(cell, numbers) for cell, numbers in zip(row["cells"], remarks, strict=True)]


@register.filter
def headings(table: Mapping[str, Any]) -> list[Heading]:
    """The headings over the columns; none where no adapter has one."""
    groups = [adapter.get("group", "") for adapter in table["adapters"]]
    if not any(groups):
        return []
    return [Heading(title, len(list(found))) for title, found in groupby(groups)]


@register.filter
def highlight_rule(table: Mapping[str, Any]) -> str:
    """By which rule “best” was marked; it has been the same since before tables stated it."""
    rule: str = table.get("highlight_rule", HIGHLIGHT_RULE)
    return rule


@register.filter
def names(table: Mapping[str, Any]) -> dict[str, str]:
    """Slug → name of the adapters of a table."""
    return {item["slug"]: f"{item['maker']} {item['name']}" for item in table["adapters"]}


@register.filter
def of_key(found: Mapping[str, Any], key: str) -> Any:
    """What a mapping has under a key that a template only knows by a variable."""
    return found.get(key, "")


@register.filter
def block_runs(block: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Adapter (slug) and run of what a block shows."""
    return list(runs_of_block(block).items())


@register.filter
def titles_of(table: Mapping[str, Any]) -> dict[str, str]:
    """Metric → title of the rows of a table."""
    return {row["metric"]: row["title"] for row in table["rows"]}
