"""The ranking of one metric under one condition, for page, CSV, chart and API."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Count, Exists, OuterRef

from catalog.models import Adapter, Viewer
from catalog.queries import as_one_parameter
from comparisons.queries.cohorts import (
    Cohort,
    Filters,
    SetApart,
    load_cohorts,
    results_of_tables,
    set_apart,
    standing_values,
)
from comparisons.queries.judgements import JUDGED_BY_SENSORS, SCHEME_WORDS
from comparisons.queries.rank_intervals import RankInterval, rank_intervals
from comparisons.ranking import expanded
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition, Metric
from measurements.models import Run, Source, Value, Verdict

# Published limits that are drawn over a cohort; where they follow the rated power there are many.
LIMITS_DRAWN = 3

# A row lists at most this many near ties by name; the full number always stands beside them.
NEAR_TIES_NAMED = 50


@dataclass(frozen=True, slots=True)
class RankedRow:
    """One adapter's place. `near_ties` are the first of `near_tie_count`, best first.

    `interval` says between which ranks it may stand, None where no uncertainty is stated.

    `joined` says how a bracket runs through the row: ``start``, ``middle``, ``end`` or "";
    a bracket joins a row with those directly below that cannot be told from it.
    """

    rank: int
    interval: RankInterval | None
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


def ranked_metrics() -> dict[str, Metric]:
    """Metrics that have places, by key, in the order of declaration."""
    return {key: metric for key, metric in all_metrics().items() if metric.ranked and metric.better}


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
    # Of a whole large ranking all ties of all rows would be too many to hold at once.
    tie_counts: dict[int, int] = {}
    named: dict[int, list[int]] = {}
    for position in positions:
        ties = cohort.near_ties_of(position)
        tie_counts[position] = len(ties)
        named[position] = ties[:NEAR_TIES_NAMED].tolist()
    adapter_ids = {int(cohort.adapter_ids[position]) for position in positions}
    for ids in named.values():
        adapter_ids.update(ids)
    adapters = {
        adapter.pk: adapter
        for adapter in Adapter.objects.select_related("maker")
        .filter(pk__in=as_one_parameter(adapter_ids))
        .only("name", "slug", "maker__name")
    }
    stored = {
        value.pk: value
        for value in Value.objects.filter(
            pk__in=as_one_parameter(cohort.value_ids[start:stop].tolist())
        ).only("standard_uncertainty", "uncertainty_known", "method", "run_id", "table_id")
    }
    brackets = _brackets(cohort, start=start, stop=stop)
    intervals = rank_intervals(cohort, start=start, stop=stop)
    rows = tuple(
        RankedRow(
            rank=int(cohort.places.rank[position]),
            interval=intervals[position - start],
            adapter=adapters[int(cohort.adapter_ids[position])],
            value=float(cohort.values[position]),
            standard_uncertainty=stored[int(cohort.value_ids[position])].stated_uncertainty,
            percentile=float(cohort.places.percentile[position]),
            near_ties=tuple(adapters[pk] for pk in named[position]),
            near_tie_count=tie_counts[position],
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
class Evidence:
    """What the value of an adapter rests on: accepted runs and the units that they measured."""

    units: int
    runs: int


def evidence(
    found: Ranking, *, viewer: Viewer, as_of: datetime | None = None
) -> dict[int, Evidence]:
    """What the rows of a ranking rest on, by adapter id, in one query.

    Every run counts that gave a comparable value of this metric under this condition up to
    `as_of` and is not withdrawn; values of tables and of the catalogue have none.
    """
    cohort = found.cohort
    values = Value.objects.filter(
        metric=cohort.metric.key,
        condition_key=cohort.condition.key,
        current_from__isnull=False,
        apart="",
        run__standing__in=(Run.Standing.ACCEPTED, Run.Standing.SUPERSEDED),
    )
    values = values.under_present_conditions().visible_to(viewer)
    if as_of is not None:
        values = values.filter(current_from__lte=as_of)
    if len(found.rows) < len(cohort):
        values = values.filter(adapter__in=[row.adapter.pk for row in found.rows])
    counted = (
        values.values("adapter")
        .annotate(units=Count("run__unit", distinct=True), runs=Count("run", distinct=True))
        .order_by()
    )
    return {row["adapter"]: Evidence(row["units"], row["runs"]) for row in counted}


@dataclass(frozen=True, slots=True)
class PublishedLimit:
    """A limit that rows of a ranking are judged by, in the metric's unit, and how many are."""

    value: float
    schemes: tuple[str, ...]
    rows: int


def published_limits(found: Ranking) -> tuple[PublishedLimit, ...]:
    """The limits that most rows are judged by, in rising order, in one query.

    A scheme may set another limit for another rated power.
    """
    metric = found.cohort.metric
    runs = [row.run_id for row in found.rows if row.run_id]
    by_sensors = metric.key in JUDGED_BY_SENSORS
    wanted = JUDGED_BY_SENSORS.get(metric.key, metric.key)
    verdicts = Verdict.objects.filter(run__in=runs)
    if not by_sensors:
        verdicts = verdicts.filter(condition_key=found.cohort.condition.key)
    judged: dict[float, tuple[set[str], set[UUID]]] = {}
    # The quantity is looked at here: asked for it, SQLite reads all verdicts on it of the site.
    for quantity, scheme, limit, run in verdicts.values_list(
        "quantity", "scheme", "limit", "run_id"
    ):
        if quantity != wanted:
            continue
        # Headroom is counted from the limit itself.
        schemes, rows = judged.setdefault(0.0 if by_sensors else limit, (set(), set()))
        schemes.add(scheme)
        rows.add(run)
    order = {scheme: place for place, scheme in enumerate(SCHEME_WORDS)}
    limits = [
        PublishedLimit(
            value=limit,
            schemes=tuple(
                SCHEME_WORDS.get(name, name)
                for name in sorted(schemes, key=lambda name: (order.get(name, len(order)), name))
            ),
            rows=len(rows),
        )
        for limit, (schemes, rows) in judged.items()
    ]
    most = sorted(limits, key=lambda item: (-item.rows, item.value))[:LIMITS_DRAWN]
    return tuple(sorted(most, key=lambda item: item.value))


def not_tested(
    metric: Metric,
    condition: Condition,
    *,
    viewer: Viewer,
    limit: int,
    filters: Filters | None = None,
    as_of: datetime | None = None,
    tables: bool = False,
) -> list[Adapter]:
    """The first `limit` adapters that pass the filters and have no value here, in one query."""
    values = standing_values(viewer=viewer, as_of=as_of, tables=tables).filter(
        adapter=OuterRef("pk"), metric=metric.key, condition_key=condition.key
    )
    asked = (filters or Filters()).adapters_among(Adapter.objects.visible_to(viewer))
    return list(
        asked.filter(~Exists(values))
        .select_related("maker")
        .order_by("maker__name", "name", "pk")[:limit]
    )


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
