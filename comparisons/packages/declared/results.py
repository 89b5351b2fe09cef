"""Values as facts in time, tables of results, attachments."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from comparisons.packages.columns import Column
from comparisons.packages.declared.catalogue import OF_ADAPTER
from comparisons.packages.declared.run_tables import OF_FILE, OF_RUN, SHA256
from comparisons.packages.scope import Scope
from comparisons.packages.site import Site, write_all
from comparisons.packages.tables import Cells, Reference, Row, Source, Table
from comparisons.packages.ucum import ucum_of
from measurements.kinds import all_metrics
from measurements.models import Attachment, ResultTable, Value

_ID = Column("id", "string", "Its id.", required=True, format="uuid")
_OF_TABLE = ("accepted_at", "rows_read", "rows_refused")
_OF_ATTACHMENT = ("kind", "title", "file_name", "media_type")
_PARTS = ("line", "output_v", "load", "load_percent", "device", "sensor", "port")
_NUMERIC = frozenset({"output_v", "load_percent"})
_TIMES = ("current_from", "current_until")


def _result_tables(scope: Scope) -> Iterator[Cells]:
    exported = scope.values.filter(table__isnull=False)
    shown: dict[Any, set[str]] = {}
    for table_id, row in exported.values_list("table", "table_row").iterator():
        shown.setdefault(table_id, set()).add(str(row))
    for table in scope.result_tables.iterator():
        rows = shown.get(table.pk, set())
        remarks = {row: text for row, text in table.remarks.items() if row in rows}
        said = (getattr(table, name) for name in _OF_TABLE)
        yield (
            table.pk,
            table.raw_id,
            table.file_name,
            table.origin,
            table.received_at,
            *said,
            remarks,
        )


def _restore_result_tables(source: Source, _site: Site) -> None:
    write_all(
        ResultTable,
        (
            ResultTable(
                id=row["id"],
                raw_id=row["sha256"],
                file_name=row["file_name"] or "",
                origin=row["origin"],
                received_at=row["received_at"],
                remarks=row["remarks"],
                **{name: row[name] for name in _OF_TABLE},
            )
            for row in source.rows("result_tables")
        ),
    )


def _values(scope: Scope) -> Iterator[Cells]:
    numbers: Counter[tuple[str, str, str]] = Counter()
    units = {key: ucum_of(metric.unit) for key, metric in all_metrics().items()}
    rows = scope.values.select_related("adapter").only(*_NEEDED, "adapter__slug")
    # Of one place the order of coming: the last one is what a run gives today.
    for value in rows.order_by("adapter__slug", "metric", "condition_key", "pk").iterator():
        key = (value.adapter.slug, value.metric, value.condition_key)
        numbers[key] += 1
        yield (
            *key,
            numbers[key],
            *(getattr(value, name) for name in _PARTS),
            value.value,
            value.stated_uncertainty,
            units.get(value.metric),
            value.method,
            value.apart,
            value.source,
            value.run_id,
            value.table_id,
            value.table_row,
            value.current_from,
            value.current_until,
        )


_NEEDED = (
    *(
        "adapter",
        "metric",
        "condition_key",
        *_PARTS,
        "value",
        "standard_uncertainty",
        "uncertainty_known",
    ),
    *("method", "apart", "run", "table", "table_row", *_TIMES),
)


def _condition(row: Row) -> dict[str, Any]:
    return {name: row[name] if name in _NUMERIC else row[name] or "" for name in _PARTS}


def _restore_values(source: Source, site: Site) -> None:
    write_all(
        Value,
        (
            Value(
                adapter_id=site.adapters[row["adapter"]],
                run_id=row["run"],
                table_id=row["table"],
                table_row=row["table_row"],
                metric=row["metric"],
                condition_key=row["condition"] or "",
                **_condition(row),
                value=row["value"],
                standard_uncertainty=row["standard_uncertainty"] or 0.0,
                uncertainty_known=row["standard_uncertainty"] is not None,
                method=row["method"],
                apart=row["apart"] or "",
                **{name: row[name] for name in _TIMES},
            )
            for row in source.rows("values")
        ),
    )


def _attachments(scope: Scope) -> Iterator[Cells]:
    for found in scope.attachments.select_related("adapter").iterator():
        yield (
            found.pk,
            found.run_id,
            found.adapter.slug if found.adapter else None,
            *(getattr(found, name) for name in _OF_ATTACHMENT),
            found.shown_id,
            found.width,
            found.height,
            found.added_at,
        )


def _restore_attachments(source: Source, site: Site) -> None:
    def restored(row: Mapping[str, Any]) -> Attachment:
        return Attachment(
            id=row["id"],
            run_id=row["run"],
            adapter_id=site.adapters[row["adapter"]] if row["adapter"] else None,
            **{name: row[name] or "" for name in _OF_ATTACHMENT},
            # What cameras add stays where the picture was handed in.
            original_id=row["sha256"],
            shown_id=row["sha256"],
            width=row["width"],
            height=row["height"],
            added_at=row["added_at"],
        )

    write_all(Attachment, (restored(row) for row in source.rows("attachments")))


RESULT_TABLES = Table(
    "result_tables",
    "Tables of results that were computed elsewhere; their files are not shown to readers",
    (
        _ID,
        SHA256,
        Column("file_name", "string", "What the sender called it."),
        Column("origin", "string", "Where the results come from.", required=True),
        Column("received_at", "datetime", "When it came.", required=True),
        Column("accepted_at", "datetime", "When it began to stand.", required=True),
        Column("rows_read", "integer", "Rows of the file.", required=True),
        Column("rows_refused", "integer", "Rows that could not be taken in.", required=True),
        Column("remarks", "object", "Remarks by row.", required=True),
    ),
    key=("id",),
    rows=_result_tables,
    restore=_restore_result_tables,
    references=(OF_FILE,),
)
VALUES = Table(
    "values",
    "Values as facts in time: what stands, what stood, what a replaced run gives",
    (
        Column("adapter", "string", "Slug of the adapter.", required=True),
        Column("metric", "string", "Metric, as metrics.csv lists them.", required=True),
        Column("condition", "string", "Condition as one text; values compare only under the same."),
        Column("number", "integer", "Place in its history under that condition.", required=True),
        Column("line", "string", "Mains: high is 180–264 V, low is 90–132 V."),
        Column("output_v", "number", "Output voltage.", unit="V"),
        Column("load", "string", "none, full, or a share in per cent."),
        Column("load_percent", "number", "Measured load, share of the rated one.", unit="%"),
        Column("device", "string", "Slug of the reference device."),
        Column("sensor", "string", "Name of the temperature sensor."),
        Column("port", "string", "Label of the port."),
        Column("value", "number", "The value, in the unit of this row.", required=True),
        Column("standard_uncertainty", "number", "Its u, k = 1; empty: not stated."),
        Column("unit", "string", "UCUM code of value and uncertainty."),
        Column("method", "string", "Version of the method.", required=True),
        Column("apart", "string", "Why it is not comparable; empty: it is."),
        Column("source", "string", "run, table or catalogue.", required=True),
        Column("run", "string", "Run that gave it.", format="uuid"),
        Column("table", "string", "Table of results that gave it.", format="uuid"),
        Column("table_row", "integer", "Row of that table."),
        Column("current_from", "datetime", "From when it stood; empty: it never did."),
        Column("current_until", "datetime", "Until when it stood; empty: it still does."),
    ),
    key=("adapter", "metric", "condition", "number"),
    rows=_values,
    restore=_restore_values,
    references=(OF_ADAPTER, OF_RUN, Reference(("table",), "result_tables", ("id",))),
)
ATTACHMENTS = Table(
    "attachments",
    "Pictures and documents, as they are shown",
    (
        _ID,
        Column("run", "string", "Run that it belongs to.", format="uuid"),
        Column("adapter", "string", "Adapter that it belongs to."),
        Column("kind", "string", "photograph, scope-picture or certificate.", required=True),
        Column("title", "string", "Title.", required=True),
        Column("file_name", "string", "What the sender called it."),
        Column("media_type", "string", "Media type of what is shown.", required=True),
        SHA256,
        Column("width", "integer", "Width.", unit="pixel"),
        Column("height", "integer", "Height.", unit="pixel"),
        Column("added_at", "datetime", "When it was added.", required=True),
    ),
    key=("id",),
    rows=_attachments,
    restore=_restore_attachments,
    references=(OF_RUN, OF_ADAPTER, OF_FILE),
)
