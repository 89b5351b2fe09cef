"""Published comparison tables: frozen content, its hash, and the adapters of its columns."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from comparisons.models import ComparedAdapter, Comparison
from comparisons.packages.columns import Column
from comparisons.packages.declared.catalogue import OF_ADAPTER
from comparisons.packages.scope import Scope
from comparisons.packages.site import Site, write_all
from comparisons.packages.tables import Cells, Reference, Source, Table

_PLAIN = ("title", "metrics", "conditions", "with_tables", "created_at", "changed_at")
_FROZEN = ("published_at", "frozen", "frozen_hash")


def _comparisons(scope: Scope) -> Iterator[Cells]:
    shown = set(scope.comparisons.values_list("slug", flat=True))
    for found in scope.comparisons.select_related("revises"):
        revises = found.revises.slug if found.revises and found.revises.slug in shown else None
        plain = (getattr(found, name) for name in _PLAIN)
        frozen = (getattr(found, name) for name in _FROZEN)
        yield found.slug, *plain, found.notes, revises, *frozen


def _restore_comparisons(source: Source, site: Site) -> None:
    rows = list(source.rows("comparisons"))
    made = [
        Comparison(
            slug=row["slug"],
            state=Comparison.State.PUBLISHED,
            notes=row["notes"] or "",
            **_said_in(row["frozen"]),
            **{name: row[name] for name in (*_PLAIN, *_FROZEN)},
        )
        for row in rows
    ]
    write_all(Comparison, made)
    site.comparisons |= dict(Comparison.objects.values_list("slug", "pk"))
    for comparison, row in zip(made, rows, strict=True):
        comparison.changed_at = row["changed_at"]  # an insert puts the present moment
        comparison.revises_id = site.comparisons[row["revises"]] if row["revises"] else None
    Comparison.objects.bulk_update(made, ["changed_at", "revises"], batch_size=100)


def _said_in(frozen: Mapping[str, Any]) -> dict[str, Any]:
    """What a frozen table tells of how it was built, which a revision starts from.

    One of an earlier release has none of it.
    """
    return {
        "metric_conditions": frozen.get("metric_conditions", []),
        "cell_notes": [
            {name: item[name] for name in ("adapter", "metric", "text")}
            for item in frozen.get("remarks", [])
        ],
        "blocks": frozen.get("block_keys", []),
    }


def _compared(scope: Scope) -> Iterator[Cells]:
    columns = ComparedAdapter.objects.filter(comparison__in=scope.comparisons.order_by())
    yield from columns.order_by("comparison__slug", "position").values_list(
        "comparison__slug", "position", "adapter__slug"
    )


def _restore_compared(source: Source, site: Site) -> None:
    frozen = Comparison.objects.filter(slug__in=site.comparisons).values_list("slug", "frozen")
    groups = {
        (slug, item["slug"]): item.get("group", "")
        for slug, table in frozen
        for item in (table or {}).get("adapters", [])
    }
    write_all(
        ComparedAdapter,
        (
            ComparedAdapter(
                comparison_id=site.comparisons[row["comparison"]],
                position=row["position"],
                group=groups.get((row["comparison"], row["adapter"]), ""),
                adapter_id=site.adapters[row["adapter"]],
            )
            for row in source.rows("compared_adapters")
        ),
    )


COMPARISONS = Table(
    "comparisons",
    "Published comparison tables, frozen under a hash",
    (
        Column("slug", "string", "Its address.", required=True),
        Column("title", "string", "Title.", required=True),
        Column("metrics", "array", "Metrics of its rows.", required=True),
        Column("conditions", "object", "Conditions that narrow them.", required=True),
        Column("with_tables", "boolean", "Whether results of tables count.", required=True),
        Column("created_at", "datetime", "When it was begun.", required=True),
        Column("changed_at", "datetime", "When it last changed.", required=True),
        Column("notes", "string", "Notes of the editor."),
        Column("revises", "string", "The comparison that it revises, if shown."),
        Column("published_at", "datetime", "When it was published.", required=True),
        Column("frozen", "object", "The whole table.", required=True),
        Column("frozen_hash", "string", "SHA-256 of that in canonical JSON.", required=True),
    ),
    key=("slug",),
    rows=_comparisons,
    restore=_restore_comparisons,
    references=(Reference(("revises",), "comparisons", ("slug",)),),
)
COMPARED_ADAPTERS = Table(
    "compared_adapters",
    "Adapters of comparison tables, in the order of their columns",
    (
        Column("comparison", "string", "Slug of the comparison.", required=True),
        Column("position", "integer", "Place, from 0.", required=True),
        Column("adapter", "string", "Slug of the adapter.", required=True),
    ),
    key=("comparison", "position"),
    rows=_compared,
    restore=_restore_compared,
    references=(Reference(("comparison",), "comparisons", ("slug",)), OF_ADAPTER),
)
