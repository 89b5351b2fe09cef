"""What follows from the standing values of other runs, and stays true when they change.

Two things reach beyond one run: values that compare an adapter with every other one
(`Kind.across`), and computations that read what another run of the same adapter found
(`Kind.follows`). Both are brought up to date in the transaction that changes what stands.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping

from django.db import connection, transaction
from django.db.models.functions import Now
from django.utils import timezone

from catalog.models import Adapter
from measurements import queries
from measurements.kinds import all_kinds, get_kind
from measurements.kinds.base import Across, Measured
from measurements.models import Ledger, Run, Value

# Any number that nothing else on this database locks by.
_LOCK = 0x62726C67


def lock() -> None:
    """Keep others from changing values that are compared across adapters until the commit.

    To be taken before the lock on any adapter, so that two changes never wait for each
    other. On SQLite a writing transaction is alone already.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])


def lock_for(kind: str) -> None:
    """Take the lock if values of this kind are compared across adapters."""
    if get_kind(kind).across is not None:
        lock()


def derived_for(run: Run, measured: Iterable[Measured]) -> tuple[Measured, ...]:
    """What the values of `run` are beside the history, as if the run stood.

    The adapter's other standing values count too; those of the run replace them.
    """
    across = run.declared_kind.across
    if across is None:
        return ()
    history = _standing(across)
    own = {(item.metric, item.condition.key): item for item in history.pop(run.adapter_id, ())}
    own |= {
        (item.metric, item.condition.key): item
        for item in measured
        if item.metric in across.reads and not item.apart
    }
    published = _published(history)
    derived = across.derive({**published, str(run.adapter_id): tuple(own.values())})
    return derived.get(str(run.adapter_id), ())


def refresh(kind: str) -> None:
    """Bring every adapter's values that are compared across adapters up to the history.

    Call with the lock held, inside the transaction that changed what stands.
    """
    across = get_kind(kind).across
    if across is None:
        return
    history = _standing(across)
    published = _published(history)
    wanted: dict[int, tuple[Measured, ...]] = {
        int(name): derived for name, derived in across.derive(published).items()
    }
    for adapter_id, values in history.items():
        if str(adapter_id) not in published:  # a draft is beside the others, they not beside it
            derived = across.derive({**published, str(adapter_id): values})
            wanted[adapter_id] = derived.get(str(adapter_id), ())
    _write(across, wanted)


def refresh_all(*, adapter_id: int | None = None) -> None:
    """Bring what is compared across adapters up to date, such as after an embargo ended.

    With an adapter, only what it takes part in.
    """
    for kind in all_kinds():
        if kind.across is None:
            continue
        taking_part = Value.objects.measured().current().filter(metric__in=kind.across.reads)
        if adapter_id is not None and not taking_part.filter(adapter=adapter_id).exists():
            continue
        with transaction.atomic():
            lock()
            refresh(kind.slug)


def follow(kind: str, *, adapter_id: int) -> list[uuid.UUID]:
    """Put the adapter's runs that read a run of this kind back into the queue; which ones.

    Their values stand until the new ones are there.
    """
    followers = [item.slug for item in all_kinds() if kind in item.follows]
    runs = Run.objects.filter(
        adapter=adapter_id,
        kind__in=followers,
        state__in=[Run.State.READY, Run.State.REJECTED],
    ).exclude(standing=Run.Standing.WITHDRAWN)
    ids = list(runs.values_list("pk", flat=True))
    Run.objects.filter(pk__in=ids).update(
        state=Run.State.RECEIVED, attempts=0, due_at=Now(), rung_at=None
    )
    return ids


def _standing(across: Across) -> dict[int, tuple[Measured, ...]]:
    """Adapter → its standing values of the metrics that are read."""
    found: dict[int, list[Measured]] = {}
    rows = (
        Value.objects.measured().current().filter(metric__in=across.reads, apart="").order_by("pk")
    )
    for row in rows:
        found.setdefault(row.adapter_id, []).append(
            Measured(row.metric, row.value, row.standard_uncertainty, row.condition)
        )
    return {adapter_id: tuple(values) for adapter_id, values in found.items()}


def _published(history: Mapping[int, tuple[Measured, ...]]) -> dict[str, tuple[Measured, ...]]:
    hidden = set(Adapter.objects.embargoed().values_list("pk", flat=True))
    return {
        str(adapter_id): values
        for adapter_id, values in history.items()
        if adapter_id not in hidden
    }


def _write(across: Across, wanted: Mapping[int, tuple[Measured, ...]]) -> None:
    """Make the standing derived values equal to `wanted`; an equal one keeps its row."""
    now = timezone.now()
    held = {
        (row.adapter_id, row.metric, row.condition_key): row
        for row in Value.objects.measured().current().filter(metric__in=across.gives)
    }
    runs = _newest_runs(across)
    closed: list[int] = []
    opened: list[Value] = []
    for adapter_id, values in wanted.items():
        for item in values:
            row = held.pop((adapter_id, item.metric, item.condition.key), None)
            fresh = queries.value_row(
                item, adapter_id=adapter_id, run_id=runs.get(adapter_id), current_from=now
            )
            if row is not None and _same(row, fresh):
                continue
            if row is not None:
                closed.append(row.pk)
            opened.append(fresh)
    closed += [row.pk for row in held.values()]
    if not (closed or opened):
        return
    Value.objects.filter(pk__in=closed).update(current_until=now)
    _give_way(opened)
    Value.objects.bulk_create(opened)
    Ledger.turn()


def _give_way(opened: Iterable[Value]) -> None:
    """Remove rows of the same runs that never stood and that the opened ones replace."""
    for value in opened:
        Value.objects.filter(
            run=value.run_id,
            metric=value.metric,
            condition_key=value.condition_key,
            current_from=None,
        ).delete()


def _newest_runs(across: Across) -> dict[int, uuid.UUID | None]:
    """Adapter → the run of its newest standing value that is read."""
    rows = Value.objects.measured().current().filter(metric__in=across.reads, apart="")
    return dict(rows.order_by("current_from", "pk").values_list("adapter_id", "run_id"))


def _same(row: Value, fresh: Value) -> bool:
    return (row.value, row.standard_uncertainty, row.method, row.apart, row.run_id) == (
        fresh.value,
        fresh.standard_uncertainty,
        fresh.method,
        fresh.apart,
        fresh.run_id,
    )
