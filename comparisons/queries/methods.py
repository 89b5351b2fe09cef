"""What has been measured by the methods: versions in use, and the cohort of today."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max, Min, Q

from catalog.models import Viewer
from comparisons.queries.cohorts import (
    Cohort,
    known_conditions,
    load_cohorts,
    population_of,
    remembered,
)
from measurements.kinds.base import Metric
from measurements.models import Ledger, Value


@dataclass(frozen=True, slots=True)
class VersionSeen:
    """A method version by which values of a metric have stood.

    `until` is None while any of its values stands; `standing` is how many do.
    """

    version: str
    since: datetime
    until: datetime | None
    standing: int


@dataclass(frozen=True, slots=True)
class MethodUse:
    """How a metric is used: versions seen, newest first, and its plainest cohort of today.

    `conditions` is under how many conditions there are values; `cohort` is None without any,
    and of a metric that is not ranked.
    """

    versions: tuple[VersionSeen, ...] = ()
    cohort: Cohort | None = None
    conditions: int = 0


def method_use(
    metrics: Iterable[Metric], *, viewer: Viewer, tables: bool = False
) -> Mapping[str, MethodUse]:
    """The use of every metric, by key. What is read is remembered while the ledger stands.

    With `tables`, the cohorts count results from tables, as the rankings that they lead to.
    """
    asked = tuple(metrics)
    versions = _versions(asked, viewer=viewer)
    conditions = {
        metric.key: known_conditions(metric, viewer=viewer, tables=tables)
        for metric in asked
        if metric.ranked and metric.better
    }
    cohorts = load_cohorts(
        [
            (metric, conditions[metric.key][0].condition)
            for metric in asked
            if conditions.get(metric.key)
        ],
        viewer=viewer,
        tables=tables,
    )
    by_metric = {key: cohort for (key, _), cohort in cohorts.items() if len(cohort)}
    return {
        metric.key: MethodUse(
            versions=versions.get(metric.key, ()),
            cohort=by_metric.get(metric.key),
            conditions=len(conditions.get(metric.key, ())),
        )
        for metric in asked
    }


def _versions(
    metrics: tuple[Metric, ...], *, viewer: Viewer
) -> Mapping[str, tuple[VersionSeen, ...]]:
    """Method versions by metric, from the values that stand or have stood. One query."""
    keys = tuple(metric.key for metric in metrics)
    stamp, place = Ledger.read(), (population_of(viewer), "versions", keys)
    if (held := remembered.get(place, stamp=stamp)) is not None:
        return dict(held)
    rows = (
        Value.objects.filter(metric__in=keys, current_from__isnull=False)
        .measured()
        .visible_to(viewer)
        .values_list("metric", "method")
        .annotate(
            since=Min("current_from"),
            until=Max("current_until"),
            standing=Count("pk", filter=Q(current_until=None)),
        )
        .order_by("metric", "-since", "-method")
    )
    found: dict[str, list[VersionSeen]] = {}
    for metric, version, since, until, standing in rows:
        seen = VersionSeen(version, since, None if standing else until, standing)
        found.setdefault(metric, []).append(seen)
    kept = {metric: tuple(seen) for metric, seen in found.items()}
    remembered.put(place, kept, stamp=stamp, size=len(rows))
    return kept
