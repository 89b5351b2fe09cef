"""Every place of every adapter as a table for download, a cohort at a time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pyarrow as pa
from django.db.models import QuerySet
from django.db.models.expressions import Combinable

from catalog.models import Viewer
from comparisons.bulk.columns import Column, batch_schema
from comparisons.bulk.near_ties import near_tie_counts
from comparisons.bulk.rows import FETCHED, UuidText, pieces_of
from comparisons.bulk.values import (
    ADAPTER,
    CONDITION,
    METHOD,
    METRIC,
    NOT_COMPARABLE,
    RUN,
    SOURCE,
    STATED_UNCERTAINTY,
    TABLE,
    UNCERTAINTY,
    UNIT,
    VALUE,
    sources_of,
)
from comparisons.queries.cohorts import (
    Cohort,
    known_conditions,
    load_cohorts,
    standing_values,
)
from comparisons.queries.rankings import ranked_metrics
from measurements.kinds.base import Condition, Metric
from measurements.models import Value

PLACEMENT_COLUMNS = (
    ADAPTER,
    METRIC,
    *CONDITION,
    VALUE,
    UNIT,
    UNCERTAINTY,
    Column("rank", "whole", "competition rank (1, 2, 2, 4); null for what is not comparable"),
    Column("count", "whole", "number of adapters in the cohort"),
    Column("percentile", "number", "share of the cohort that is beaten, ties half", unit="%"),
    Column("near_tie_count", "whole", "others not told apart within k = 2"),
    METHOD,
    RUN,
    SOURCE,
    TABLE,
    NOT_COMPARABLE,
)
_SCHEMA = batch_schema(PLACEMENT_COLUMNS)


def placement_rows(
    *,
    viewer: Viewer,
    tables: bool,
    metric: str = "",
    as_of: datetime | None = None,
) -> Iterator[pa.RecordBatch]:
    """The places that stand today or stood at `as_of`, as each adapter's own list has them.

    Metric by metric, the plainest condition first, best first; after each cohort the values of
    its condition that are not comparable. Every cohort is read at one moment, all of them not.
    """
    metrics = ranked_metrics()
    for declared in (metrics[metric],) if metric else metrics.values():
        known = known_conditions(declared, viewer=viewer, as_of=as_of, tables=tables)
        for condition in (item.condition for item in known):
            values = standing_values(viewer=viewer, as_of=as_of, tables=tables)
            values = values.filter(metric=declared.key, condition_key=condition.key)
            cohorts = load_cohorts(
                [(declared, condition)], viewer=viewer, as_of=as_of, tables=tables
            )
            for cohort in cohorts.values():
                if len(cohort):
                    yield from pieces_of(_placed(cohort))
            yield from _apart(declared, condition, values.exclude(apart=""))


def _placed(cohort: Cohort) -> pa.RecordBatch:
    # Whatever ever stood under this condition: a value of the cohort may have ceased to since
    # the cohort was read, and then it still is what the places were counted with.
    found = _read(
        Value.objects.filter(
            metric=cohort.metric.key,
            condition_key=cohort.condition.key,
            current_from__isnull=False,
        )
    )
    ids = np.array(found.pop("pk"), dtype=np.int64)
    order = np.argsort(ids)
    rows = pa.array(order[np.searchsorted(ids, cohort.value_ids, sorter=order)])
    origins = {column.name: _texts(found[column.name]).take(rows) for column in _ORIGINS}
    return _batch(
        cohort.metric,
        cohort.condition,
        {
            **origins,
            "value": cohort.values,
            "standard_uncertainty": cohort.uncertainties,
            "rank": cohort.places.rank,
            "count": np.full(len(cohort), len(cohort)),
            "percentile": cohort.places.percentile,
            "near_tie_count": near_tie_counts(
                cohort.values, cohort.uncertainties, better=cohort.metric.better
            ),
        },
    )


def _apart(
    metric: Metric, condition: Condition, values: QuerySet[Value]
) -> Iterator[pa.RecordBatch]:
    found = _read(values.order_by("adapter__slug"))
    if size := len(found.pop("pk")):
        none = np.zeros(size, dtype=np.int64)
        yield _batch(metric, condition, {**found, "count": none, "near_tie_count": none})


_ORIGINS = (ADAPTER, METHOD, RUN, TABLE)
_READ: Mapping[str, str | Combinable] = {
    "pk": "pk",
    ADAPTER.name: "adapter__slug",
    METHOD.name: "method",
    RUN.name: UuidText("run_id"),
    TABLE.name: UuidText("table_id"),
    VALUE.name: "value",
    UNCERTAINTY.name: STATED_UNCERTAINTY,
    NOT_COMPARABLE.name: "apart",
}


def _read(values: QuerySet[Value]) -> dict[str, Sequence[Any]]:
    """Columns of a query by name; all of them empty where it has no rows."""
    rows = list(values.values_list(*_READ.values()).iterator(chunk_size=FETCHED))
    columns = zip(*rows, strict=True) if rows else [()] * len(_READ)
    return dict(zip(_READ, columns, strict=True))


def _texts(column: Sequence[str | None]) -> pa.Array:
    return pa.array(column, pa.string())


def _batch(metric: Metric, condition: Condition, columns: Mapping[str, Any]) -> pa.RecordBatch:
    """Rows of one condition; a column that is not given is null."""
    size = len(columns[VALUE.name])
    parts = condition.as_json()
    same = {
        METRIC.name: metric.key,
        UNIT.name: metric.unit,
        **{column.name: parts.get(column.name) for column in CONDITION},
    }
    arrays = {
        field.name: _array(columns[field.name], field.type)
        if field.name in columns
        else pa.repeat(pa.scalar(same.get(field.name), field.type), size)
        for field in _SCHEMA
    }
    arrays[SOURCE.name] = sources_of(arrays[RUN.name], arrays[TABLE.name])
    return pa.RecordBatch.from_arrays(list(arrays.values()), schema=_SCHEMA)


def _array(column: Any, kind: pa.DataType) -> pa.Array:
    # An uncertainty that is not a number is one that nobody stated.
    return column if isinstance(column, pa.Array) else pa.array(column, kind, from_pandas=True)
