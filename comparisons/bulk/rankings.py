"""One ranking as a table for download, whole: what its page shows, row by row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import pyarrow as pa

from comparisons.bulk.columns import Column, batch_schema
from comparisons.queries.rankings import Evidence, Ranking

RANKING_COLUMNS = (
    Column("rank", "whole", "competition rank (1, 2, 2, 4)"),
    Column("rank_low", "whole", "best rank of the 95 % interval; null where U is not stated"),
    Column("rank_high", "whole", "worst rank of the 95 % interval; null where U is not stated"),
    Column("adapter", "text", "slug of the adapter"),
    Column("maker", "text", "maker of the adapter", free=True),
    Column("name", "text", "name of the adapter", free=True),
    Column("metric", "text", "key of the metric"),
    Column("condition", "text", "condition of the ranking, its parts joined by semicolons"),
    Column("value", "number", "the value that stands"),
    Column("unit", "text", "unit of the value"),
    Column(
        "expanded_uncertainty_k2", "number", "U at k = 2, unit as the value's; null where unknown"
    ),
    Column("percentile", "number", "share of the cohort that is beaten, ties half", unit="%"),
    Column("near_ties", "whole", "others not told apart within k = 2"),
    Column("units_measured", "whole", "units that accepted runs measured under this condition"),
    Column("runs_accepted", "whole", "accepted runs under this condition, superseded ones too"),
    Column("run", "text", "id of the run that gave the value; null for one without"),
    Column("method", "text", "version of the method"),
    Column("source", "text", "run, table or catalogue"),
)

Record = tuple[str | float | int | None, ...]


def ranking_records(found: Ranking, rests_on: Mapping[int, Evidence]) -> Iterator[Record]:
    """One row an adapter, best first, in the order of `RANKING_COLUMNS`; None where unknown.

    `rests_on` is what `comparisons.queries.rankings.evidence` says of the same rows.
    """
    metric, condition = found.cohort.metric, found.cohort.condition
    nothing = Evidence(units=0, runs=0)
    for row in found.rows:
        evidence = rests_on.get(row.adapter.pk, nothing)
        yield (
            row.rank,
            row.interval.low if row.interval else None,
            row.interval.high if row.interval else None,
            row.adapter.slug,
            row.adapter.maker.name,
            row.adapter.name,
            metric.key,
            condition.key,
            row.value,
            metric.unit,
            row.expanded_uncertainty,
            row.percentile,
            row.near_tie_count,
            evidence.units,
            evidence.runs,
            str(row.run_id) if row.run_id else None,
            row.method,
            row.source,
        )


def record_batches(records: Iterator[Record]) -> Iterator[pa.RecordBatch]:
    """The same rows as a record batch; none of no rows."""
    if rows := list(records):
        schema = batch_schema(RANKING_COLUMNS)
        columns = zip(*rows, strict=True)
        yield pa.RecordBatch.from_arrays(
            [pa.array(column, field.type) for column, field in zip(columns, schema, strict=True)],
            schema=schema,
        )
