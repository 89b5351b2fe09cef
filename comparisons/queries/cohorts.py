"""Cohorts: the adapters that a value may fairly be compared with.

A cohort is one metric under one condition: every adapter that this viewer may know of,
once, with the value that stands at the moment asked for. Values that are not comparable are
kept apart with their reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Case, Count, F, FloatField, When
from django.db.models import Value as Constant
from django.utils import timezone

from catalog.models import Adapter, AdapterQuerySet, Port, Viewer, sees_unpublished
from comparisons.queries.cache import StampedCache
from comparisons.ranking import (
    COVERAGE_FACTOR,
    FloatArray,
    IntArray,
    Places,
    Spread,
    near_ties,
    places,
    spread,
)
from measurements.kinds.base import Condition, Metric
from measurements.models import Ledger, Value
from measurements.queries.profiles import adapters_reaching

# Rows of cohorts that a process remembers; a row takes about 60 bytes.
REMEMBERED_ROWS = 2_000_000
remembered: StampedCache[Any] = StampedCache(capacity=REMEMBERED_ROWS)

READ_AT_ONCE = 20_000

CONDITION_PARTS = ("line", "output_v", "load", "load_percent", "device", "sensor", "port")


@dataclass(frozen=True, slots=True)
class Filters:
    """Which adapters count, by what is known of them today.

    Rated power [W], number of ports, year of release and price are inclusive; a price means one
    in `currency`. `maker` is a slug, `profile_v` [V] a voltage that a scanned port advertises.
    What is not known of an adapter lets it through no filter that asks for it.
    """

    power_min: float | None = None
    power_max: float | None = None
    ports_min: int | None = None
    maker: str = ""
    connector: str = ""
    profile_v: float | None = None
    enclosure: str = ""
    year_min: int | None = None
    year_max: int | None = None
    price_min: Decimal | None = None
    price_max: Decimal | None = None
    currency: str = ""

    @property
    def is_open(self) -> bool:
        """Whether every adapter counts."""
        return self == Filters()

    def narrow(self, values: Any) -> Any:
        """`values` of the adapters that pass."""
        if self.is_open:
            return values
        return values.filter(adapter__in=self.adapters_among(Adapter.objects.all()).values("pk"))

    def adapters_among(self, adapters: AdapterQuerySet) -> AdapterQuerySet:
        """Those of `adapters` that pass."""
        adapters = adapters.rated_between(self.power_min, self.power_max)
        adapters = adapters.released_between(self.year_min, self.year_max)
        if self.ports_min:
            adapters = adapters.with_ports_at_least(self.ports_min)
        if self.maker:
            adapters = adapters.filter(maker__slug=self.maker)
        if self.connector:
            adapters = adapters.with_connector(self.connector)
        if self.enclosure:
            adapters = adapters.filter(enclosure=self.enclosure)
        if self.currency:
            adapters = adapters.priced_between(
                self.price_min, self.price_max, currency=self.currency
            )
        if self.profile_v is not None:
            adapters = adapters.filter(pk__in=adapters_reaching(self.profile_v))
        return adapters

    def in_words(self, *, maker: str = "") -> str:
        """Who counts, to follow “adapters”: `` rated 65 W or more, advertising 28 V``.

        `maker` is the name of the maker that is filtered by.
        """
        parts = [
            f"of {maker or self.maker}" if self.maker else "",
            _range_in_words("rated", self.power_min, self.power_max, unit="W"),
            _ports_in_words(self.ports_min, self.connector),
            f"advertising {self.profile_v:g} V" if self.profile_v is not None else "",
            f"in {Adapter.Enclosure(self.enclosure).label}" if self.enclosure else "",
            _years_in_words(self.year_min, self.year_max),
            _price_in_words(self.price_min, self.price_max, self.currency),
        ]
        listed = ", ".join(part for part in parts if part)
        return f" {listed}" if listed else ""


def _range_in_words(verb: str, low: Any, high: Any, *, unit: str) -> str:
    if low is not None and high is not None:
        return f"{verb} {low:g} to {high:g} {unit}"
    if low is not None:
        return f"{verb} {low:g} {unit} or more"
    return f"{verb} {high:g} {unit} or less" if high is not None else ""


def _ports_in_words(ports_min: int | None, connector: str) -> str:
    least = f"at least {ports_min} port{'' if ports_min == 1 else 's'}" if ports_min else ""
    kind = f"a {Port.Connector(connector).label} port" if connector else ""
    both = " and ".join(part for part in (least, kind) if part)
    return f"with {both}" if both else ""


def _years_in_words(first: int | None, last: int | None) -> str:
    if first is not None and last is not None:
        return f"released in {first}" if first == last else f"released {first} to {last}"
    if first is not None:
        return f"released in {first} or later"
    return f"released in {last} or earlier" if last is not None else ""


def _price_in_words(low: Decimal | None, high: Decimal | None, currency: str) -> str:
    if not currency:
        return ""
    return _range_in_words("priced", low, high, unit=currency) or f"priced in {currency}"


@dataclass(frozen=True, slots=True)
class KnownCondition:
    """A condition under which a metric has values, and how many adapters have one."""

    condition: Condition
    count: int


@dataclass(frozen=True, slots=True)
class Cohort:
    """The comparable values of one metric under one condition, best first.

    The arrays run in parallel; equal values stand in the order of their adapters' entry. An
    uncertainty that a table did not give is not a number.
    """

    metric: Metric
    condition: Condition
    adapter_ids: IntArray
    values: FloatArray
    uncertainties: FloatArray
    value_ids: IntArray
    places: Places
    spread: Spread
    by_adapter: IntArray
    """Positions in the order of rising adapter id, to find one by bisection."""

    def __len__(self) -> int:
        return len(self.values)

    def position_of(self, adapter_id: int) -> int | None:
        """Index of an adapter in the arrays, None if it is not in the cohort."""
        index = int(np.searchsorted(self.adapter_ids, adapter_id, sorter=self.by_adapter))
        if index == len(self):
            return None
        position = int(self.by_adapter[index])
        return position if int(self.adapter_ids[position]) == adapter_id else None

    def position_after(self, value: float, adapter_id: int) -> int:
        """Where the rows begin that stand behind this value of this adapter, itself here or not."""
        sign = 1.0 if self.metric.better == "lower" else -1.0
        keys = sign * self.values
        first = int(np.searchsorted(keys, sign * value, side="left"))
        stop = int(np.searchsorted(keys, sign * value, side="right"))
        return first + int(np.searchsorted(self.adapter_ids[first:stop], adapter_id, side="right"))

    def near_ties_of(self, position: int) -> IntArray:
        """Ids of the adapters that cannot be told apart from the one at `position`."""
        # The values are in order, so only those within the largest combined uncertainty of the
        # cohort can be near ties; the factor keeps rounding from losing one at the edge.
        if np.isnan(self.uncertainties[position]):
            return self.adapter_ids[:0]
        keys = self.values if self.metric.better == "lower" else -self.values
        largest = np.hypot(self.uncertainties[position], np.nanmax(self.uncertainties))
        reach = COVERAGE_FACTOR * float(largest) * (1 + 1e-9)
        first = int(np.searchsorted(keys, keys[position] - reach, side="left"))
        stop = int(np.searchsorted(keys, keys[position] + reach, side="right"))
        found = near_ties(
            self.values[first:stop], self.uncertainties[first:stop], position=position - first
        )
        return self.adapter_ids[first + found]


def standing_values(*, viewer: Viewer, as_of: datetime | None, tables: bool = False) -> Any:
    """Values that stand now, or stood at `as_of`, of adapters this viewer may know of.

    With `tables`, results that came by a table count too, where nothing measured stands for
    the same adapter, metric and condition.
    """
    return _at(Value.objects.all(), as_of).counted(tables=tables).visible_to(viewer)


def _at(values: Any, as_of: datetime | None) -> Any:
    return values.current() if as_of is None else values.as_of(as_of)


def results_of_tables(*, viewer: Viewer, as_of: datetime | None) -> Any:
    """What `standing_values` has more when results from tables count."""
    standing = _at(Value.objects.all(), as_of)
    return standing.of_tables().besides(standing.measured()).visible_to(viewer)


def known_conditions(
    metric: Metric, *, viewer: Viewer, as_of: datetime | None = None, tables: bool = False
) -> list[KnownCondition]:
    """Every condition under which the metric has values, the plainest first.

    Fewer parts come before more, 230 V before 115 V, more adapters before fewer.
    """
    stamp, who = Ledger.read(), population_of(viewer, tables=tables)
    if as_of is None and (found := remembered.get((who, metric.key), stamp=stamp)) is not None:
        return list(found)
    rows = (
        standing_values(viewer=viewer, as_of=as_of, tables=tables)
        .filter(metric=metric.key)
        .values(*CONDITION_PARTS)
        .annotate(count=Count("adapter", distinct=True))
        .order_by()
    )
    known = [
        KnownCondition(Condition(**{part: row[part] for part in CONDITION_PARTS}), row["count"])
        for row in rows
    ]
    known.sort(
        key=lambda item: (
            len(item.condition.as_json()),
            item.condition.line != "high",
            -item.count,
            item.condition.key,
        ),
    )
    if as_of is None:
        remembered.put((who, metric.key), tuple(known), stamp=stamp, size=len(known))
    return known


def choose_condition(
    known: Iterable[KnownCondition], *, asked: Mapping[str, Any]
) -> Condition | None:
    """The plainest known condition that has every part asked for; None if none has."""
    for item in known:
        if all(getattr(item.condition, part) == wanted for part, wanted in asked.items()):
            return item.condition
    return None


def load_cohorts(
    wanted: Iterable[tuple[Metric, Condition]],
    *,
    viewer: Viewer,
    filters: Filters | None = None,
    as_of: datetime | None = None,
    tables: bool = False,
) -> dict[tuple[str, str], Cohort]:
    """Cohorts by (metric key, condition key): one query for the stamp, one for all not at hand.

    Only metrics with a better direction can be asked for. Whole cohorts of today are
    remembered while the ledger's stamp stands; filtered and past ones are read each time.
    """
    asked = {(metric.key, condition.key): (metric, condition) for metric, condition in wanted}
    if not asked:
        return {}
    narrowed = filters is not None and not filters.is_open
    if narrowed or as_of is not None:
        return _read_cohorts(asked, viewer=viewer, filters=filters, as_of=as_of, tables=tables)
    stamp, who = Ledger.read(), population_of(viewer, tables=tables)
    found: dict[tuple[str, str], Cohort] = {}
    for key in asked:
        cohort = remembered.get((who, *key), stamp=stamp)
        if cohort is not None:
            found[key] = cohort
    missing = {key: wanted for key, wanted in asked.items() if key not in found}
    if missing:
        read = _read_cohorts(missing, viewer=viewer, filters=None, as_of=None, tables=tables)
        for key, cohort in read.items():
            remembered.put((who, *key), cohort, stamp=stamp, size=len(cohort) + 1)
            found[key] = cohort
    return found


def population_of(viewer: Viewer, *, tables: bool = False) -> str:
    """Who counts for this viewer: embargoes end with a day, so the public's has a date."""
    who = "everybody" if sees_unpublished(viewer) else f"public {timezone.now().date()}"
    return f"{who} with tables" if tables else who


def _read_cohorts(
    asked: Mapping[tuple[str, str], tuple[Metric, Condition]],
    *,
    viewer: Viewer,
    filters: Filters | None,
    as_of: datetime | None,
    tables: bool,
) -> dict[tuple[str, str], Cohort]:
    narrow = (filters or Filters()).narrow
    sources = [narrow(standing_values(viewer=viewer, as_of=as_of).filter(apart=""))]
    uncertainties: list[Any] = [F("standard_uncertainty")]
    if tables:
        # Apart from the measured ones, which are read from an index alone.
        sources.append(narrow(results_of_tables(viewer=viewer, as_of=as_of)))
        uncertainties.append(
            Case(When(uncertainty_known=True, then="standard_uncertainty"), default=None)
        )
    keys = list(asked)
    # One look into the index each, united: a look for any of several is slower by far.
    first, *others = (
        source.filter(metric=metric_key, condition_key=condition_key)
        .order_by()
        .values_list(
            Constant(float(position), output_field=FloatField()),
            "adapter_id",
            "value",
            uncertainty,
            "pk",
        )
        for position, (metric_key, condition_key) in enumerate(keys)
        for source, uncertainty in zip(sources, uncertainties, strict=True)
    )
    rows = first.union(*others, all=True) if others else first
    # Ids are far below 2⁵³, where a float still holds every whole number.
    table = np.array(list(rows.iterator(chunk_size=READ_AT_ONCE)), dtype=np.float64).reshape(-1, 5)
    return {
        key: _cohort(*asked[key], table=table[table[:, 0] == position, 1:])
        for position, key in enumerate(keys)
    }


def _cohort(metric: Metric, condition: Condition, *, table: FloatArray) -> Cohort:
    """A cohort of rows of adapter id, value, standard uncertainty and value id."""
    table = table[np.argsort(table[:, 0])]  # equal values stand in the order of their adapters
    table = table[places(table[:, 1], better=metric.better).order]
    adapter_ids, value_ids = table[:, 0].astype(np.int64), table[:, 3].astype(np.int64)
    values = table[:, 1].copy()
    return Cohort(
        metric=metric,
        condition=condition,
        adapter_ids=adapter_ids,
        values=values,
        uncertainties=table[:, 2].copy(),
        value_ids=value_ids,
        places=places(values, better=metric.better),
        spread=spread(values),
        by_adapter=np.argsort(adapter_ids, kind="stable").astype(np.int64),
    )


@dataclass(frozen=True, slots=True)
class SetApart:
    """A value that stands but is not comparable, and why."""

    adapter: Adapter
    value: float
    standard_uncertainty: float
    reason: str
    run_id: UUID | None


def set_apart(
    metric: Metric,
    condition: Condition,
    *,
    viewer: Viewer,
    filters: Filters | None = None,
    as_of: datetime | None = None,
) -> list[SetApart]:
    """The values of a cohort's condition that are not comparable, with the reason."""
    rows = (
        (filters or Filters())
        .narrow(
            standing_values(viewer=viewer, as_of=as_of).filter(
                metric=metric.key, condition_key=condition.key
            )
        )
        .exclude(apart="")
        .select_related("adapter__maker")
        .order_by("adapter__slug")
    )
    return [
        SetApart(row.adapter, row.value, row.standard_uncertainty, row.apart, row.run_id)
        for row in rows
    ]
