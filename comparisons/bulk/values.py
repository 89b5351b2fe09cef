"""The values that stand today, and every value that ever stood, as tables for download."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
from django.db.models import Case, Exists, F, OuterRef, Q, QuerySet, When

from catalog.models import Adapter, Viewer, sees_unpublished
from comparisons.bulk.columns import Column, batch_schema
from comparisons.bulk.rows import AsStored, TimeText, UuidText, or_null, record_batches
from measurements.kinds import all_metrics
from measurements.models import Amendment, ResultTable, Run, Value
from measurements.queries import begun_since, current_values

ADAPTER = Column("adapter", "text", "slug of the adapter")
UNIT = Column("unit", "text", "unit of value and standard_uncertainty; blank for a pure number")
SOURCE = Column("source", "text", "where the value comes from: run, table or catalogue")
RUN = Column("run", "text", "id of the run that gave the value")
TABLE = Column("table", "text", "id of the table of results that the value came by")
METRIC = Column("metric", "text", "key of the metric; GET metrics/ defines it")
VALUE = Column("value", "number", "the value")
UNCERTAINTY = Column(
    "standard_uncertainty",
    "number",
    "standard uncertainty (k = 1); null where a table did not state one",
)
METHOD = Column("method", "text", "version of the method that computed the value")
NOT_COMPARABLE = Column(
    "not_comparable", "text", "why the value is kept out of rankings", free=True
)
CONDITION: Mapping[Column, Any] = {
    Column("line", "text", "mains line: high is 180–264 V, low is 90–132 V"): or_null("line"),
    Column("output_v", "number", "nominal output voltage", unit="V"): F("output_v"),
    Column("load", "text", "load: none, full, a share of full load or an output power"): or_null(
        "load"
    ),
    Column("load_percent", "number", "load as a share of full load", unit="%"): F("load_percent"),
    Column("device", "text", "slug of the reference device", free=True): or_null("device"),
    Column("sensor", "text", "sensor that the value is of", free=True): or_null("sensor"),
    Column("port", "text", "label of the port", free=True): or_null("port"),
}

STATED_UNCERTAINTY = AsStored(
    Case(When(uncertainty_known=True, then="standard_uncertainty"), default=None)
)

# What the database is asked for; unit and source follow from it.
_READ: Mapping[Column, Any] = {
    ADAPTER: F("adapter__slug"),
    METRIC: F("metric"),
    VALUE: F("value"),
    UNCERTAINTY: STATED_UNCERTAINTY,
    **CONDITION,
    METHOD: F("method"),
    RUN: UuidText("run_id"),
    TABLE: UuidText("table_id"),
    NOT_COMPARABLE: or_null("apart"),
    Column("current_from", "time", "since when the value has stood"): TimeText("current_from"),
}
_TAKEN_BACK = AsStored(
    Case(
        When(
            Exists(
                Amendment.objects.filter(run=OuterRef("run"), at__gte=OuterRef("current_until"))
            ),
            then=1,
        ),
        default=0,
    )
)
_READ_OF_HISTORY: Mapping[Column, Any] = {
    **_READ,
    Column("current_until", "time", "when it ceased to stand; null while it stands"): TimeText(
        "current_until"
    ),
    Column(
        "taken_back", "yes-no", "whether it ended because the conditions said of its run were wrong"
    ): _TAKEN_BACK,
}


def _with_unit_and_source(read: Mapping[Column, Any]) -> tuple[Column, ...]:
    columns = list(read)
    columns.insert(columns.index(VALUE) + 1, UNIT)
    columns.insert(columns.index(TABLE), SOURCE)
    return tuple(columns)


VALUE_COLUMNS = _with_unit_and_source(_READ)
HISTORY_COLUMNS = _with_unit_and_source(_READ_OF_HISTORY)


def value_rows(
    *,
    viewer: Viewer,
    tables: bool,
    narrowed: Mapping[str, Any],
    updated_since: datetime | None = None,
) -> Iterator[pa.RecordBatch]:
    """Values that stand today, of adapters this person may know of, as `GET values/` lists them.

    `narrowed` names fields of `Value` with the value wanted; `updated_since` gives those that
    began to stand since then. With `tables`, also results that came by a table where nothing
    measured stands.
    """
    values = current_values(viewer=viewer, tables=tables).filter(**narrowed)
    if updated_since is not None:
        values = values.filter(begun_since(updated_since))
    return _batches(values.order_by("pk"), read=_READ, columns=VALUE_COLUMNS)


def history_rows(
    *,
    viewer: Viewer,
    tables: bool,
    narrowed: Mapping[str, Any],
    as_of: datetime | None = None,
    updated_since: datetime | None = None,
) -> Iterator[pa.RecordBatch]:
    """Every value that readers were ever shown, with when it stood; `as_of` those of one moment.

    Left out is what this person may not see today: values of embargoed adapters, of tables that
    were withdrawn, and of runs that wait for acceptance after an amendment. `updated_since`
    gives the rows that began or ceased to stand since then.
    """
    values = Value.objects.filter(current_from__isnull=False).visible_to(viewer).filter(**narrowed)
    values = _of_what_may_be_seen(values, viewer=viewer)
    if not tables:
        values = values.measured()
    if as_of is not None:
        values = values.as_of(as_of)
    if updated_since is not None:
        values = values.filter(begun_since(updated_since) | Q(current_until__gte=updated_since))
    return _batches(values.order_by("pk"), read=_READ_OF_HISTORY, columns=HISTORY_COLUMNS)


def _of_what_may_be_seen(values: Any, *, viewer: Viewer) -> Any:
    hidden = Q(accepted_at=None)
    if not sees_unpublished(viewer):
        # An amended run may have been moved to an adapter that is under embargo.
        hidden |= Q(adapter__in=Adapter.objects.embargoed().values("pk"))
    seen = ResultTable.objects.visible_to(viewer)
    return values.exclude(run__in=Run.objects.filter(hidden).values("pk")).filter(
        Q(table=None) | Q(table__in=seen.values("pk"))
    )


def _batches(
    rows: QuerySet[Value], *, read: Mapping[Column, Any], columns: Sequence[Column]
) -> Iterator[pa.RecordBatch]:
    schema = batch_schema(columns)
    for batch in record_batches(rows, read=read):
        arrays = dict(zip(batch.schema.names, batch.columns, strict=True))
        arrays[UNIT.name] = units_of(arrays[METRIC.name])
        arrays[SOURCE.name] = sources_of(arrays[RUN.name], arrays[TABLE.name])
        yield pa.RecordBatch.from_arrays([arrays[name] for name in schema.names], schema=schema)


def units_of(metrics: pa.Array) -> pa.Array:
    """The unit of each metric; null for one whose kind was taken out of the site."""
    declared = all_metrics()
    units = pa.array([metric.unit for metric in declared.values()], pa.string())
    return units.take(pc.index_in(metrics, value_set=pa.array(declared, pa.string())))


def sources_of(runs: pa.Array, tables: pa.Array) -> pa.Array:
    """Where each value comes from: a table, a run, or the catalogue."""
    of_no_table = pc.if_else(pc.is_valid(runs), "run", "catalogue")
    return pc.if_else(pc.is_valid(tables), "table", of_no_table)
