"""Tables of results that were computed elsewhere, as lists and pages show them."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from django.db.models import Count, F, Q, QuerySet

from catalog.models import Viewer
from measurements.kinds import all_metrics
from measurements.kinds.base import Metric
from measurements.models import ResultTable, Value


@dataclass(frozen=True, slots=True)
class ImportedRow:
    """A result of a table, and beside it what was measured under the same condition, if it was."""

    value: Value
    metric: Metric
    measured: Value | None
    remark: str
    fate: str
    """What became of it, in words."""


@dataclass(frozen=True, slots=True)
class TablePage:
    """A table and the results that were taken in from it."""

    table: ResultTable
    rows: tuple[ImportedRow, ...]

    @property
    def beside_measured(self) -> int:
        """How many results there are for which something measured stands."""
        return sum(row.measured is not None for row in self.rows)


def tables_listed(*, viewer: Viewer) -> QuerySet[ResultTable]:
    """The tables that this person may see, each with its number of standing results."""
    standing = Q(values__current_from__isnull=False, values__current_until=None)
    return (
        ResultTable.objects.visible_to(viewer)
        .select_related("received_by", "accepted_by", "withdrawn_by")
        .annotate(standing_count=Count("values", filter=standing))
    )


def table_page(table_id: uuid.UUID, *, viewer: Viewer) -> TablePage | None:
    """A table with its results, those of hidden adapters left out; None if it is hidden."""
    table = tables_listed(viewer=viewer).filter(pk=table_id).first()
    if table is None:
        return None
    newest: dict[int | None, Value] = {}
    for value in (
        table.values.visible_to(viewer).select_related("adapter__maker").order_by("table_row", "pk")
    ):
        newest[value.table_row] = value  # one that stood again has a row of its own
    metrics = all_metrics()
    measured = {
        (row.adapter_id, row.metric, row.condition_key): row
        for row in Value.objects.measured()
        .current()
        .visible_to(viewer)
        .filter(
            adapter__in={value.adapter_id for value in newest.values()},
            metric__in={value.metric for value in newest.values()},
        )
        .order_by(F("apart").desc())
    }
    rows = []
    for value in newest.values():
        if value.metric not in metrics:
            continue
        beside = measured.get((value.adapter_id, value.metric, value.condition_key))
        rows.append(
            ImportedRow(
                value=value,
                metric=metrics[value.metric],
                measured=beside,
                remark=table.remarks.get(str(value.table_row), ""),
                fate=_fate(table, value, is_measured=beside is not None),
            )
        )
    return TablePage(table, tuple(rows))


def _fate(table: ResultTable, value: Value, *, is_measured: bool) -> str:
    if table.standing == "withdrawn":
        return "withdrawn"
    if is_measured:
        return "the measured value counts"
    if table.standing == "provisional":
        return "waits for an editor"
    return "replaced by a later table" if value.current_until else "stands"
