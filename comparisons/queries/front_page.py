"""What the first page says: what was tested, what is new, who leads."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db.models import Count, Min
from django.db.models.functions import Coalesce

from catalog.models import Adapter, Viewer
from comparisons.queries.cohorts import (
    Cohort,
    known_conditions,
    load_cohorts,
    population_of,
    remembered,
)
from comparisons.queries.placements import HEADLINES
from measurements.kinds import all_metrics
from measurements.kinds.base import Metric
from measurements.models import Ledger, Run, Source, Value
from measurements.queries import condition_in_words, runs_listed

NEWEST_SHOWN = 8
LEADERS_SHOWN = 3

# What a run is known for: the first of these that it has.
KNOWN_FOR = (
    *HEADLINES,
    "ripple-loaded",
    "sharing-total",
    "charge-to-80",
    "top-pdo-power",
    "matched-power",
)


@dataclass(frozen=True, slots=True)
class NewRun:
    """An accepted run and the value that it is known for, where it has one."""

    run: Run
    value: Value | None
    metric: Metric | None

    @property
    def of_what(self) -> str:
        """The value's metric and condition in words, without the mains that the run names.

        A value that is kept apart says so.
        """
        if self.value is None or self.metric is None:
            return ""
        words = condition_in_words(replace(self.value.condition, line=""))
        name = self.metric.title[0].lower() + self.metric.title[1:]
        parts = (
            name,
            words if words != "no condition" else "",
            "not comparable" if self.value.apart else "",
        )
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Leader:
    """One of the first of a cohort; `near_ties` counts those it cannot be told apart from."""

    rank: int
    adapter: Adapter
    value: float
    standard_uncertainty: float | None
    source: Source
    near_ties: int


@dataclass(frozen=True, slots=True)
class HeadlineRanking:
    """A headline cohort and its leaders."""

    cohort: Cohort
    leaders: tuple[Leader, ...]


@dataclass(frozen=True, slots=True)
class FrontPage:
    """Counts of what stands, newest runs, headline rankings.

    `since` is when the oldest of the accepted runs was measured.
    """

    adapters: int
    makers: int
    runs: int
    since: datetime | None
    newest: tuple[NewRun, ...]
    headlines: tuple[HeadlineRanking, ...]


def front_page(*, viewer: Viewer, tables: bool = False) -> FrontPage:
    """The first page for this viewer, in a fixed number of queries."""
    return FrontPage(
        **_counts(viewer), newest=_newest(viewer), headlines=_headlines(viewer, tables=tables)
    )


def _accepted(viewer: Viewer) -> Any:
    return Run.objects.visible_to(viewer).filter(standing=Run.Standing.ACCEPTED)


def _counts(viewer: Viewer) -> dict[str, Any]:
    """What was tested, in numbers; remembered while the ledger stands, as it turns with any."""
    stamp, place = Ledger.read(), (population_of(viewer), "front page")
    if (held := remembered.get(place, stamp=stamp)) is not None:
        return dict(held)
    counts: dict[str, Any] = _accepted(viewer).aggregate(
        adapters=Count("adapter", distinct=True),
        makers=Count("adapter__maker", distinct=True),
        runs=Count("pk"),
        since=Min(Coalesce("measured_at", "received_at")),
    )
    remembered.put(place, counts, stamp=stamp, size=len(counts))
    return counts


def _newest(viewer: Viewer) -> tuple[NewRun, ...]:
    # Ids first: to sort the rows themselves would carry all their columns through the sort.
    newest = _accepted(viewer).order_by("-accepted_at", "-id").values("pk")[:NEWEST_SHOWN]
    ids = [row["pk"] for row in newest]
    listed = runs_listed(viewer=viewer).in_bulk(ids)
    runs = [listed[pk] for pk in ids]
    known_for: dict[object, Value] = {}
    importance = {key: position for position, key in enumerate(KNOWN_FOR)}
    rows = Value.objects.current().filter(run__in=runs, metric__in=KNOWN_FOR)
    for value in sorted(
        rows, key=lambda row: (importance[row.metric], -(row.output_v or 0.0), -row.value)
    ):
        known_for.setdefault(value.run_id, value)
    metrics = all_metrics()
    return tuple(
        NewRun(run, value, metrics[value.metric] if value else None)
        for run, value in ((run, known_for.get(run.pk)) for run in runs)
    )


def _headlines(viewer: Viewer, *, tables: bool) -> tuple[HeadlineRanking, ...]:
    metrics = all_metrics()
    wanted = []
    for key in HEADLINES:
        if key not in metrics:
            continue
        if known := known_conditions(metrics[key], viewer=viewer, tables=tables):
            wanted.append((metrics[key], known[0].condition))
    loaded = load_cohorts(wanted, viewer=viewer, tables=tables)
    cohorts = [cohort for cohort in loaded.values() if len(cohort)]
    cohorts.sort(key=lambda cohort: HEADLINES.index(cohort.metric.key))
    leading = {int(pk) for cohort in cohorts for pk in cohort.adapter_ids[:LEADERS_SHOWN]}
    adapters = Adapter.objects.select_related("maker").in_bulk(leading)
    shown = {int(pk) for cohort in cohorts for pk in cohort.value_ids[:LEADERS_SHOWN]}
    values = Value.objects.in_bulk(shown)
    return tuple(
        HeadlineRanking(cohort, tuple(_leaders(cohort, adapters, values))) for cohort in cohorts
    )


def _leaders(
    cohort: Cohort, adapters: dict[int, Adapter], values: dict[int, Value]
) -> Iterable[Leader]:
    for position in range(min(LEADERS_SHOWN, len(cohort))):
        value = values[int(cohort.value_ids[position])]
        yield Leader(
            rank=int(cohort.places.rank[position]),
            adapter=adapters[int(cohort.adapter_ids[position])],
            value=float(cohort.values[position]),
            standard_uncertainty=value.stated_uncertainty,
            source=value.source,
            near_ties=len(cohort.near_ties_of(position)),
        )
