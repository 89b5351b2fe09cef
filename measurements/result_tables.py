"""What people do with tables of results that were computed elsewhere.

Such a result never takes the place of a measured one: it only replaces, and gives way to,
results of other tables.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils import timezone

from catalog.actions import confirm_devices
from catalog.models import Adapter
from measurements import history, queries
from measurements.actions import Refused
from measurements.kinds.base import Condition
from measurements.models import Ledger, RawFile, ResultTable, Value

METHOD = "from a table"
"""What stands for the method version of a result that nobody here computed."""


@dataclass(frozen=True, slots=True)
class Result:
    """A row that can be taken in; value and standard uncertainty in the metric's unit."""

    line: int
    adapter_id: int
    metric: str
    condition: Condition
    value: float
    standard_uncertainty: float | None
    remark: str = ""


@dataclass(frozen=True, slots=True)
class CheckedTable:
    """A table as it was read: what can be taken in, and what is wrong with the other rows.

    `problems` are ``{"row", "column", "detail"}``, one or more for a refused row.
    """

    results: tuple[Result, ...]
    problems: tuple[Mapping[str, Any], ...] = ()
    refused: int = 0

    @property
    def read(self) -> int:
        """How many rows there are."""
        return len(self.results) + self.refused


@dataclass(frozen=True, slots=True)
class ReceivedTable:
    """The table of a file; `created` is False when it was there before."""

    table: ResultTable
    created: bool = True


def receive_table(
    checked: CheckedTable, *, chunks: Iterable[bytes], file_name: str, origin: str, by: User
) -> ReceivedTable:
    """Keep a table for ever and write down its results, which do not stand yet.

    The same file gives the table that is there; while nobody has accepted that, its rows are
    read anew, so that what was missing in the catalogue can be added meanwhile. Raises
    `Refused` for a table of which no row can be taken in or whose origin nobody states,
    `rawstore.TooLarge` and `OSError`, with nothing kept.
    """
    origin = origin.strip()
    if not origin:
        raise Refused("Say where the results come from; readers see it.", field="origin")
    if not checked.results:
        raise Refused("No row of the table can be taken in.", field="file")
    kept = queries.raw_store().keep(chunks)
    try:
        with transaction.atomic():
            there = _tables_of(kept.sha256).select_for_update().first()
            if there is not None:
                if there.accepted_at is None:
                    _write(there, checked)
                return ReceivedTable(there, created=False)
            raw = RawFile.objects.write_down(kept.sha256, size=kept.size)
            table = ResultTable.objects.create(
                raw=raw, file_name=file_name[-255:], origin=origin[:300], received_by=by
            )
            _write(table, checked)
            return ReceivedTable(table)
    except IntegrityError:
        # Somebody else sent the same file at this moment.
        there = _tables_of(kept.sha256).first()
        if there is None:
            raise
        return ReceivedTable(there, created=False)


def _tables_of(sha256: str) -> QuerySet[ResultTable]:
    return ResultTable.objects.filter(raw=sha256, withdrawn_at=None)


def _write(table: ResultTable, checked: CheckedTable) -> None:
    """Make the values of a provisional table those that were read."""
    table.values.all().delete()
    Value.objects.bulk_create(
        Value(
            adapter_id=row.adapter_id,
            table=table,
            table_row=row.line,
            metric=row.metric,
            condition_key=row.condition.key,
            line=row.condition.line,
            output_v=row.condition.output_v,
            load=row.condition.load,
            load_percent=row.condition.load_percent,
            device=row.condition.device,
            sensor=row.condition.sensor,
            port=row.condition.port,
            value=row.value,
            standard_uncertainty=row.standard_uncertainty or 0.0,
            uncertainty_known=row.standard_uncertainty is not None,
            method=METHOD,
        )
        for row in checked.results
    )
    table.rows_read = checked.read
    table.rows_refused = checked.refused
    table.problems = [dict(problem) for problem in checked.problems]
    table.remarks = {str(row.line): row.remark for row in checked.results if row.remark}
    table.save(update_fields=["rows_read", "rows_refused", "problems", "remarks"])


@transaction.atomic
def accept_table(table: ResultTable, *, by: User) -> ResultTable:
    """Let a table's results stand beside the measured ones.

    They replace those of earlier tables for the same adapter, metric and condition. Raises
    `PermissionError` and `Refused`.
    """
    if not by.has_perm("measurements.accept_run"):
        raise PermissionError("Only an editor may accept a table of results.")
    table = _held_still(table)
    if table.standing != "provisional":
        raise Refused(f"The table is {table.standing} already.")
    now = timezone.now()
    rows = list(table.values.filter(current_from=None))
    keys = {_place(row) for row in rows}
    displaced = [row for row in _standing_beside(rows) if _place(row) in keys]
    Value.objects.filter(pk__in=[row.pk for row in displaced]).update(current_until=now)
    table.values.filter(current_from=None).update(current_from=now)
    table.accepted_at = now
    table.accepted_by = by
    table.save(update_fields=["accepted_at", "accepted_by"])
    confirm_devices({row.device for row in rows if row.device})
    Ledger.turn()
    return table


@transaction.atomic
def withdraw_table(table: ResultTable, *, by: User, reason: str) -> ResultTable:
    """Take a table's results back, with the reason in sight; what they had displaced stands again.

    Editors may; whoever handed it in may while it is provisional. Raises `PermissionError` and
    `Refused`.
    """
    table = _held_still(table)
    own = table.received_by_id == by.pk and table.accepted_at is None
    if not by.has_perm("measurements.accept_run") and not own:
        raise PermissionError(
            "Only an editor may withdraw this table, or whoever handed it in while it is "
            "provisional."
        )
    reason = reason.strip()
    if not reason:
        raise Refused("Say why the table is withdrawn; readers see the reason.", field="reason")
    if table.standing == "withdrawn":
        raise Refused("The table is withdrawn already.")
    now = timezone.now()
    vacated = list(table.values.current())
    table.values.current().update(current_until=now)
    table.withdrawn_at = now
    table.withdrawn_by = by
    table.withdrawn_reason = reason
    table.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])
    _reinstate(vacated, at=now)
    Ledger.turn()
    return table


def _place(row: Value) -> tuple[int, str, str]:
    return row.adapter_id, row.metric, row.condition_key


def _held_still(table: ResultTable) -> ResultTable:
    """The table as it is now, locked, with all that changes what stands of its adapters."""
    # In the order in which runs take their locks, so that no two changes wait for each other.
    history.lock()
    adapters = table.values.values("adapter")
    list(Adapter.objects.select_for_update(no_key=True).filter(pk__in=adapters).order_by("pk"))
    return ResultTable.objects.select_for_update().get(pk=table.pk)


def _standing_beside(rows: Sequence[Value]) -> Iterable[Value]:
    return (
        Value.objects.of_tables()
        .current()
        .filter(
            adapter__in={row.adapter_id for row in rows}, metric__in={row.metric for row in rows}
        )
    )


def _reinstate(vacated: Sequence[Value], *, at: datetime) -> None:
    """Open again, as new rows, what the newest other table has in the vacated places."""
    wanted = {_place(row) for row in vacated}
    others = (
        Value.objects.of_tables()
        .filter(
            adapter__in={row.adapter_id for row in vacated},
            metric__in={row.metric for row in vacated},
            table__accepted_at__isnull=False,
            table__withdrawn_at=None,
        )
        .order_by("-table__accepted_at", "-pk")
    )
    revived = []
    for row in others:
        if _place(row) in wanted:
            wanted.discard(_place(row))
            row.pk = None
            row.current_from, row.current_until = at, None
            revived.append(row)
    Value.objects.bulk_create(revived)
