"""What editors do to comparison tables."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone

from catalog.actions import free_slug
from catalog.models import Adapter
from comparisons.models import ComparedAdapter, Comparison
from comparisons.queries.blocks import MOST_BLOCKS, is_block_key
from comparisons.queries.contents import (
    compared_adapters,
    departures_of,
    groups_of,
    live_content,
    seal_of,
)

__all__ = [
    "MAX_ADAPTERS",
    "MAX_CELL_NOTES",
    "Refused",
    "canonical_json",
    "compared_adapters",
    "content_to_publish",
    "hash_of",
    "publish_comparison",
    "revise_comparison",
    "save_comparison",
]

MAX_ADAPTERS = 12
MAX_CELL_NOTES = 100

# Addresses beside those of comparisons.
RESERVED_SLUGS = ("new",)

Person = User | None


class Refused(Exception):
    """What was asked cannot be done; `detail` says why and what to do, `field` where."""

    def __init__(self, detail: str, *, field: str = "") -> None:
        super().__init__(detail)
        self.detail = detail
        self.field = field


def canonical_json(content: Any) -> str:
    """JSON with one spelling: sorted keys, no spaces, ASCII, shortest round-trip floats."""
    return json.dumps(
        content, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )


def hash_of(content: Any) -> str:
    """SHA-256 of the canonical JSON."""
    return hashlib.sha256(canonical_json(content).encode("ascii")).hexdigest()


def as_databases_keep(content: Any) -> Any:
    """Plain data with the only spelling of its numbers that every database gives back.

    A database that keeps JSON as decimals knows no zero below zero and writes large whole numbers
    out; what it gave back would have another hash than what was frozen.
    """
    if (
        isinstance(content, float)
        and content.is_integer()
        and (not content or abs(content) >= 1e16)
    ):
        return int(content) if content else 0.0
    if isinstance(content, Mapping):
        return {name: as_databases_keep(part) for name, part in content.items()}
    if isinstance(content, (list, tuple)):
        return [as_databases_keep(part) for part in content]
    return content


@transaction.atomic
def save_comparison(
    comparison: Comparison,
    *,
    adapters: Sequence[Adapter],
    metrics: Sequence[str],
    conditions: Mapping[str, Any],
    by: Person,
    groups: Mapping[str, str] | None = None,
    unchanged_since: datetime | None = None,
) -> Comparison:
    """Write a draft. Raises `Refused` for a published one and for a table nobody could read.

    `groups` are the headings of adapters (by slug); None leaves those that they have.
    With `unchanged_since`, the moment at which the draft was read, it also refuses to write
    over what somebody else has saved meanwhile.
    """
    if not comparison._state.adding:
        stored = Comparison.objects.select_for_update().get(pk=comparison.pk)
        if stored.state != Comparison.State.DRAFT:
            raise Refused("A published comparison never changes; make a revision of it.")
        if unchanged_since is not None and stored.changed_at != unchanged_since:
            raise Refused(
                f"Somebody else saved this draft at {stored.changed_at:%H:%M:%S} UTC. Look at it "
                "in another window, then save again to put yours in its place."
            )
    if not adapters or len(adapters) > MAX_ADAPTERS:
        raise Refused(f"Choose from 1 to {MAX_ADAPTERS} adapters.", field="adapters")
    if not metrics:
        raise Refused("Choose at least one metric.", field="metrics")
    comparison.metrics = list(dict.fromkeys(metrics))
    comparison.conditions = dict(conditions)
    if groups is None:
        kept = {} if comparison._state.adding else groups_of(comparison)
        groups = {item.slug: kept[item.slug] for item in adapters if item.slug in kept}
    slugs = [adapter.slug for adapter in adapters]
    if strangers := set(groups) - set(slugs):
        raise Refused(
            f"A heading is given for “{min(strangers)}”, which is not in the table.",
            field="groups",
        )
    _refuse_what_is_not_there(comparison, slugs=slugs)
    if comparison._state.adding:
        taken = Comparison.objects.values_list("slug", flat=True)
        comparison.slug = free_slug(comparison.title, taken=[*taken, *RESERVED_SLUGS])
        comparison.created_by = by
    comparison.full_clean()
    comparison.save()
    comparison.columns.all().delete()
    ComparedAdapter.objects.bulk_create(
        ComparedAdapter(
            comparison=comparison,
            adapter=adapter,
            position=position,
            group=groups.get(adapter.slug, ""),
        )
        for position, adapter in enumerate(dict.fromkeys(adapters))
    )
    return comparison


def _refuse_what_is_not_there(comparison: Comparison, *, slugs: Sequence[str]) -> None:
    """Raise `Refused` for a remark, condition or block that the table has no place for."""
    for item in comparison.metric_conditions:
        if item["metric"] not in comparison.metrics:
            raise Refused(
                f"A condition is given for “{item['metric']}”, which is not in the table.",
                field="metric_conditions",
            )
    if len(comparison.cell_notes) > MAX_CELL_NOTES:
        raise Refused(f"Write at most {MAX_CELL_NOTES} notes on cells.", field="cell_notes")
    for item in comparison.cell_notes:
        if item["metric"] not in comparison.metrics or item["adapter"] not in slugs:
            raise Refused(
                f"A note is on “{item['metric']}” of “{item['adapter']}”, which is not in the "
                "table; take the note away with it.",
                field="cell_notes",
            )
    comparison.blocks = list(dict.fromkeys(comparison.blocks))
    if len(comparison.blocks) > MOST_BLOCKS:
        raise Refused(f"Choose at most {MOST_BLOCKS} drawings.", field="blocks")
    if unknown := [key for key in comparison.blocks if not is_block_key(key)]:
        raise Refused(f"“{unknown[0]}” names no drawing.", field="blocks")


def content_to_publish(comparison: Comparison) -> dict[str, Any]:
    """What publishing a draft now would freeze, beside the moment: what readers would see.

    Raises `Refused` for an adapter under embargo.
    """
    adapters = compared_adapters(comparison)
    hidden = [adapter for adapter in adapters if not adapter.is_published]
    if hidden:
        names = ", ".join(f"{adapter} (until {adapter.publish_on})" for adapter in hidden)
        raise Refused(f"Still under embargo: {names}.", field="adapters")
    return live_content(comparison, adapters=adapters, groups=groups_of(comparison), viewer=None)


@transaction.atomic
def publish_comparison(
    comparison: Comparison, *, by: Person, departures_read: str | None = None
) -> Comparison:
    """Freeze a draft: values, runs and method versions under a hash, at its own address.

    Only what readers may see is frozen. `departures_read` is the seal
    (`queries.contents.seal_of`) of the departures from like conditions that the editor has
    read; a page always says one. None is a program that says nothing of them: the table then
    tells readers so beside its departures. Raises `Refused` for a comparison that is published
    already or names an adapter under embargo, and where another seal is said than that of the
    departures which there are.
    """
    comparison = Comparison.objects.select_for_update().get(pk=comparison.pk)
    if comparison.state != Comparison.State.DRAFT:
        raise Refused("The comparison is published already.")
    content = content_to_publish(comparison)
    seal = seal_of(content)
    if seal and departures_read not in (None, seal):
        sentences = departures_of(content)
        count = len(sentences)
        raise Refused(
            f"The conditions of this table depart from each other in {count} "
            f"place{'' if count == 1 else 's'}. Read them and say so (departures_read: {seal}). "
            + " ".join(sentences),
            field="departures_read",
        )
    now = timezone.now()
    frozen = as_databases_keep(
        {
            **content,
            "published_at": now.isoformat(),
            "departures_read": not seal or departures_read is not None,
        }
    )
    comparison.frozen = frozen
    comparison.frozen_hash = hash_of(frozen)
    comparison.state = Comparison.State.PUBLISHED
    comparison.published_at = now
    comparison.published_by = by
    comparison.save()
    return comparison


@transaction.atomic
def revise_comparison(comparison: Comparison, *, by: Person) -> Comparison:
    """A new draft from a published comparison; the old one stays at its address."""
    if comparison.state != Comparison.State.PUBLISHED:
        raise Refused("The comparison is still a draft; change the draft itself.")
    draft = Comparison(
        title=comparison.title,
        notes=comparison.notes,
        with_tables=comparison.with_tables,
        metric_conditions=comparison.metric_conditions,
        cell_notes=comparison.cell_notes,
        blocks=comparison.blocks,
        revises=comparison,
    )
    return save_comparison(
        draft,
        adapters=compared_adapters(comparison),
        metrics=comparison.metrics,
        conditions=comparison.conditions,
        groups=groups_of(comparison),
        by=by,
    )
