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
from comparisons.queries.tables import as_frozen, comparison_table

MAX_ADAPTERS = 12

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


@transaction.atomic
def save_comparison(
    comparison: Comparison,
    *,
    adapters: Sequence[Adapter],
    metrics: Sequence[str],
    conditions: Mapping[str, Any],
    by: Person,
    unchanged_since: datetime | None = None,
) -> Comparison:
    """Write a draft. Raises `Refused` for a published one and for a table nobody could read.

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
    if comparison._state.adding:
        taken = Comparison.objects.values_list("slug", flat=True)
        comparison.slug = free_slug(comparison.title, taken=[*taken, *RESERVED_SLUGS])
        comparison.created_by = by
    comparison.full_clean()
    comparison.save()
    comparison.columns.all().delete()
    ComparedAdapter.objects.bulk_create(
        ComparedAdapter(comparison=comparison, adapter=adapter, position=position)
        for position, adapter in enumerate(dict.fromkeys(adapters))
    )
    return comparison


@transaction.atomic
def publish_comparison(comparison: Comparison, *, by: Person) -> Comparison:
    """Freeze a draft: values, runs and method versions under a hash, at its own address.

    Only what readers may see is frozen. Raises `Refused` for a comparison that is published
    already or names an adapter under embargo.
    """
    comparison = Comparison.objects.select_for_update().get(pk=comparison.pk)
    if comparison.state != Comparison.State.DRAFT:
        raise Refused("The comparison is published already.")
    adapters = compared_adapters(comparison)
    hidden = [adapter for adapter in adapters if not adapter.is_published]
    if hidden:
        names = ", ".join(f"{adapter} (until {adapter.publish_on})" for adapter in hidden)
        raise Refused(f"Still under embargo: {names}.", field="adapters")
    table = comparison_table(
        adapters,
        metrics=comparison.metrics,
        conditions=comparison.conditions,
        viewer=None,
        tables=comparison.with_tables,
    )
    now = timezone.now()
    frozen = {
        "title": comparison.title,
        "notes": comparison.notes,
        "published_at": now.isoformat(),
        **as_frozen(table),
    }
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
        revises=comparison,
    )
    return save_comparison(
        draft,
        adapters=compared_adapters(comparison),
        metrics=comparison.metrics,
        conditions=comparison.conditions,
        by=by,
    )


def compared_adapters(comparison: Comparison) -> list[Adapter]:
    """The adapters of a comparison in the order of their columns, in one query."""
    return [
        column.adapter
        for column in comparison.columns.select_related("adapter__maker").order_by("position")
    ]
