"""The ranking of one metric under one condition, for page, CSV, chart and API."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Count

from catalog.models import Adapter, Viewer
from comparisons.queries.cohorts import (
    Cohort,
    Filters,
    SetApart,
    load_cohorts,
    results_of_tables,
    set_apart,
    standing_values,
)
from comparisons.ranking import expanded
from measurements.kinds.base import Condition, Metric
from measurements.models import Source, Value

# A row lists at most this many near ties by name; the full number always stands beside them.
NEAR_TIES_NAMED = 50


@dataclass(frozen=True, slots=True)
class RankedRow:
    """One adapter's place. `near_ties` are the first of `near_tie_count`, best first.

    `joined` says how a bracket runs through the row: ``start``, ``middle``, ``end`` or "";
    a bracket joins neighbours that cannot be told apart.
    """

    rank: int
    adapter: Adapter
    value: float
    standard_uncertainty: float | None
    percentile: float
    near_ties: tuple[Adapter, ...]
    near_tie_count: int
    run_id: UUID | None
    method: str
    source: Source
    table_id: UUID | None = None
    joined: str = ""

    @property
    def expanded_uncertainty(self) -> float | None:
        """U at k = 2; None where a table did not state one."""
        return expanded(self.standard_uncertainty)


@dataclass(frozen=True, slots=True)
class Ranking:
    """A cohort with the rows of one page of it, and what stands apart."""

    cohort: Cohort
    rows: tuple[RankedRow, ...]
    start: int
    apart: tuple[SetApart, ...]
    of_tables: int
    """How many results from tables there are beside the measured ones, counted in or left out."""

    @property
    def next_start(self) -> int | None:
        """Where the following page starts, None after the last row."""
        following = self.start + len(self.rows)
        return following if following < len(self.cohort) else None


def ranking(
    metric: Metric,
    condition: Condition,
    *,
    viewer: Viewer,
    filters: Filters | None = None,
    as_of: datetime | None = None,
    start: int = 0,
    after: tuple[float, int] | None = None,
    limit: int | None = None,
    tables: bool = False,
) -> Ranking:
    """`limit` rows of a ranking from row `start`, in a fixed number of queries.

    With `after` they begin behind that value of the adapter of that id, which rows that come in
    or go out before it do not move.
    """
    cohort = load_cohorts(
        [(metric, condition)], viewer=viewer, filters=filters, as_of=as_of, tables=tables
    )[metric.key, condition.key]
    if after is not None:
        start = cohort.position_after(*after)
    stop = len(cohort) if limit is None else min(start + limit, len(cohort))
    positions = range(start, stop)
    ties = {position: cohort.near_ties_of(position).tolist() for position in positions}
    named = {position: ids[:NEAR_TIES_NAMED] for position, ids in ties.items()}
    adapter_ids = {int(cohort.adapter_ids[position]) for position in positions}
    for ids in named.values():
        adapter_ids.update(ids)
    adapters = {
        adapter.pk: adapter
        for adapter in Adapter.objects.select_related("maker").filter(pk__in=adapter_ids)
    }
    stored = {
        value.pk: value
        for value in Value.objects.filter(
            pk__in=[int(cohort.value_ids[position]) for position in positions]
        )
    }
    brackets = _brackets(cohort, start=start, stop=stop)
    rows = tuple(
        RankedRow(
            rank=int(cohort.places.rank[position]),
            adapter=adapters[int(cohort.adapter_ids[position])],
            value=float(cohort.values[position]),
            standard_uncertainty=stored[int(cohort.value_ids[position])].stated_uncertainty,
            percentile=float(cohort.places.percentile[position]),
            near_ties=tuple(adapters[pk] for pk in named[position]),
            near_tie_count=len(ties[position]),
            run_id=stored[int(cohort.value_ids[position])].run_id,
            method=stored[int(cohort.value_ids[position])].method,
            source=stored[int(cohort.value_ids[position])].source,
            table_id=stored[int(cohort.value_ids[position])].table_id,
            joined=brackets.get(position, ""),
        )
        for position in positions
    )
    apart = set_apart(metric, condition, viewer=viewer, filters=filters, as_of=as_of)
    return Ranking(
        cohort=cohort,
        rows=rows,
        start=start,
        apart=tuple(apart),
        of_tables=count_of_tables(metric, condition, viewer=viewer, filters=filters, as_of=as_of),
    )


def count_of_tables(
    metric: Metric,
    condition: Condition | None,
    *,
    viewer: Viewer,
    filters: Filters | None = None,
    as_of: datetime | None = None,
) -> int:
    """How many results of a metric came by a table where nothing is measured, in one query.

    Without a condition, under any.
    """
    found = (filters or Filters()).narrow(results_of_tables(viewer=viewer, as_of=as_of))
    found = found.filter(metric=metric.key)
    if condition is not None:
        found = found.filter(condition_key=condition.key)
    return int(found.count())


@dataclass(frozen=True, slots=True)
class Population:
    """Who was asked for: adapters that pass the filters, and the methods of their values."""

    adapters: int
    methods: tuple[str, ...]


def population(
    metric: Metric,
    condition: Condition,
    *,
    viewer: Viewer,
    filters: Filters | None = None,
    as_of: datetime | None = None,
    tables: bool = False,
) -> Population:
    """How many adapters there are in all, tested or not, in two queries."""
    filters = filters or Filters()
    values = filters.narrow(standing_values(viewer=viewer, as_of=as_of, tables=tables)).filter(
        metric=metric.key, condition_key=condition.key, apart=""
    )
    return Population(
        adapters=filters.adapters_among(Adapter.objects.visible_to(viewer)).count(),
        methods=tuple(values.values_list("method", flat=True).distinct().order_by("method")),
    )


def adapters_ranked(*, viewer: Viewer, tables: bool = False) -> dict[str, int]:
    """How many adapters have a comparable value of each metric, by key, in one query."""
    return dict(
        standing_values(viewer=viewer, as_of=None, tables=tables)
        .filter(apart="")
        .values_list("metric")
        .annotate(count=Count("adapter", distinct=True))
        .order_by()
    )


def _brackets(cohort: Cohort, *, start: int, stop: int) -> dict[int, str]:
    """How brackets run: each joins a row with all directly following near ties of it."""
    joined: dict[int, str] = {}
    position = start
    while position < stop:
        ties = set(cohort.near_ties_of(position).tolist())
        last = position
        while last + 1 < stop and int(cohort.adapter_ids[last + 1]) in ties:
            last += 1
        if last > position:
            joined[position], joined[last] = "start", "end"
            joined.update(dict.fromkeys(range(position + 1, last), "middle"))
        position = last + 1
    return joined
