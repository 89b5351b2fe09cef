"""What workers do: claim a run, compute it, store everything it gives in one transaction.

A claim is a conditional update that takes a lease and raises the fence. Results are written
only while the fence is still the claimer's own, so a worker that was thought dead and comes
back writes nothing.
"""

from __future__ import annotations

import json
import logging
import math
import threading
import time
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from datetime import timedelta
from typing import Any

import numpy as np
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import close_old_connections, connection, transaction
from django.db.models import F, Q
from django.db.models.functions import Now
from django.utils import timezone

from catalog.actions import get_device
from measurements import history, queries
from measurements.confined import Exhausted, Found, Job, Limits, examine
from measurements.intake.columns import FloatArray, Problem
from measurements.kinds.base import Measured, Outcome
from measurements.models import Flag, Ledger, Run, RunEvent, Value, Verdict

logger = logging.getLogger(__name__)

TRACE_POINTS = 2000
TELL_EVERY_S = 1.0
FIRST_RETRY = timedelta(seconds=2)


class Rejected(Exception):
    """The file cannot be computed; carries what the uploader is told."""

    def __init__(self, problems: tuple[Problem, ...], *, count: int = 0, notes: Any = ()) -> None:
        super().__init__(f"{count or len(problems)} problems")
        self.problems = problems
        self.count = count or len(problems)
        self.notes = tuple(notes)


class LostClaim(Exception):
    """Another worker holds the run by now; this one stops without writing."""


def compute(run_id: uuid.UUID, *, again: bool = False) -> str:
    """Compute a run and return the state it ends in.

    Does nothing to a run that another worker holds, or that is finished unless `again`, and
    leaves alone a run whose raw file is not held here.
    Never raises for anything in the file: that ends in ``rejected``. An unexpected error is
    tried again later, a few times, and then the run is set aside with the error in sight.
    """
    fence = None if _left_alone(run_id) else _claim(run_id, again=again)
    if fence is None:
        return Run.objects.filter(pk=run_id).values_list("state", flat=True).first() or "unknown"
    try:
        with _lease_kept(run_id, fence):
            try:
                outcome, found = _measure(run_id, fence)
                _store(run_id, fence, outcome, found)
            except Rejected as rejected:
                _reject(run_id, fence, rejected)
    except LostClaim:
        logger.warning("Run %s was taken over by another worker", run_id)
    except Exception as error:  # a bug or a lost service: never lose the run to it
        logger.exception("Run %s could not be computed", run_id)
        _release(run_id, fence, f"{type(error).__name__}: {error}")
    return str(Run.objects.values_list("state", flat=True).get(pk=run_id))


def _left_alone(run_id: uuid.UUID) -> bool:
    """Whether the run's raw file is not held here; it is not put back into the queue then.

    What came with the run stays, since nothing could be computed in its place.
    """
    runs = Run.objects.filter(pk=run_id, raw__held=False)
    if not runs.exists():
        return False
    runs.filter(state=Run.State.RECEIVED, problem_count=0).update(state=Run.State.READY)
    runs.filter(state=Run.State.RECEIVED).update(state=Run.State.REJECTED)
    return True


def _claim(run_id: uuid.UUID, *, again: bool) -> int | None:
    """Take the lease, or None when the run is not to be had. One conditional update.

    A run whose workers died on it too often is set aside here instead of being tried once
    more: this is the only place where a death that left no trace can be counted.
    """
    waiting = Q(state=Run.State.RECEIVED) | Q(state=Run.State.COMPUTING, lease_until__lt=Now())
    if again:
        waiting |= Q(state__in=[Run.State.READY, Run.State.REJECTED, Run.State.SET_ASIDE])
        Run.objects.filter(
            pk=run_id, state__in=[Run.State.READY, Run.State.REJECTED, Run.State.SET_ASIDE]
        ).update(attempts=0)
    with transaction.atomic():
        worn_out = Run.objects.filter(
            waiting, pk=run_id, attempts__gte=settings.MAX_ATTEMPTS
        ).update(
            state=Run.State.SET_ASIDE,
            lease_until=None,
            step="",
            error="The worker died every time it computed this run.",
        )
        if worn_out:
            RunEvent.objects.create(run_id=run_id, what="set aside", detail="The worker died.")
            return None
        claimed = Run.objects.filter(waiting, pk=run_id).update(
            state=Run.State.COMPUTING,
            lease_until=Now() + timedelta(seconds=settings.LEASE_SECONDS),
            attempts=F("attempts") + 1,
            fence=F("fence") + 1,
            step="reading the file",
        )
        if not claimed:
            return None
        return Run.objects.values_list("fence", flat=True).get(pk=run_id)


@contextmanager
def _lease_kept(run_id: uuid.UUID, fence: int) -> Iterator[None]:
    """Renew the lease from a thread for as long as the computation takes."""
    done = threading.Event()

    def renew() -> None:
        try:
            while not done.wait(settings.LEASE_SECONDS / 3):
                _held(run_id, fence).update(
                    lease_until=Now() + timedelta(seconds=settings.LEASE_SECONDS)
                )
        finally:
            connection.close()

    keeper = threading.Thread(target=renew, name=f"lease-{run_id}", daemon=True)
    keeper.start()
    try:
        yield
    finally:
        done.set()
        keeper.join()


def _held(run_id: uuid.UUID, fence: int) -> Any:
    return Run.objects.filter(pk=run_id, state=Run.State.COMPUTING, fence=fence)


def _step(run_id: uuid.UUID, fence: int, step: str) -> None:
    """Say how far it is, for the page that watches; also notices a lost claim early."""
    if not _held(run_id, fence).update(step=step):
        raise LostClaim


def read_limits() -> Limits:
    """What one file may take of memory and computing time, by the settings."""
    return Limits(memory_bytes=settings.READ_MEMORY_BYTES, cpu_s=settings.READ_CPU_SECONDS)


def _measure(run_id: uuid.UUID, fence: int) -> tuple[Outcome, Found]:
    run = queries.run_to_compute(run_id)
    store = queries.raw_store()
    if (condition := store.check(run.raw_id)) != "intact":
        raise OSError(f"The stored file {run.raw_id} is {condition}; restore it from a backup.")
    job = Job(
        path=store.path(run.raw_id),
        file_name=run.file_name,
        kind=run.kind,
        setup=queries.setup_of(run),
        maps=queries.column_maps_of(run),
        trace_points=TRACE_POINTS,
    )
    tell = _Steps(run_id, fence)
    try:
        found = examine(job, limits=read_limits(), told=tell)
        if found.strangers:
            _write_down_devices(run, found.strangers)
            job = replace(job, setup=queries.setup_of(run), takes_strangers=True)
            found = examine(job, limits=read_limits(), told=tell)
    except Exhausted as exhausted:
        raise Rejected((Problem(str(exhausted)),)) from exhausted
    if found.outcome is None:
        raise Rejected(found.problems, count=found.problem_count, notes=found.notes)
    if problems := tuple(_not_finite(found.outcome)):
        raise Rejected(problems, notes=found.notes)
    _step(run_id, fence, "storing")
    return found.outcome, found


class _Steps:
    """Says how far a computation is: every step, and within one at most once a second."""

    def __init__(self, run_id: uuid.UUID, fence: int) -> None:
        self._run_id, self._fence = run_id, fence
        self._step, self._said_at = "", 0.0

    def __call__(self, words: str) -> None:
        step = words.partition(",")[0]
        if step == self._step and time.monotonic() - self._said_at < TELL_EVERY_S:
            return
        self._step, self._said_at = step, time.monotonic()
        _step(self._run_id, self._fence, words)


def _write_down_devices(run: Run, names: Iterable[str]) -> None:
    """Reference devices that a table names for the first time become known with it."""
    for name in names:
        try:
            device, is_new = get_device(name)
        except ValidationError as error:
            raise Rejected(
                (Problem(f"“{name}” cannot be a device: {error.messages[0]}", column="device"),)
            ) from error
        if is_new:
            RunEvent.objects.create(run=run, what="device added", detail=device.name)


def _not_finite(outcome: Outcome) -> Iterator[Problem]:
    """A number that overflowed is no result, and no page or program could show it."""
    for item in outcome.values:
        if not (math.isfinite(item.value) and math.isfinite(item.standard_uncertainty)):
            yield Problem(
                f"{item.metric} comes out beyond all numbers. Look for cells of the wrong size, "
                "such as a missing decimal mark or a wrong unit in the heading."
            )


def _store(run_id: uuid.UUID, fence: int, outcome: Outcome, found: Found) -> None:
    details = json.loads(json.dumps(asdict(outcome.details), allow_nan=False))
    with transaction.atomic():
        before = Run.objects.only("kind", "details", "column_map_id").get(pk=run_id)
        history.lock_for(before.kind)
        run = _finish(
            run_id,
            fence,
            state=Run.State.READY,
            problems=[],
            problem_count=0,
            reading_notes=list(found.notes),
            column_map_id=queries.column_map_applied(before, found.evidence),
            trace={name: _plain(column) for name, column in outcome.trace.items()},
            plot=None if outcome.plot is None else asdict(outcome.plot),
            details=details,
        )
        changed = _replace_values(run, (*outcome.values, *history.derived_for(run, outcome.values)))
        if run.standing == Run.Standing.ACCEPTED:
            history.refresh(run.kind)
            if changed or before.details != details:
                history.follow(run.kind, adapter_id=run.adapter_id)
        run.flags.all().delete()
        overdue = queries.calibration_flags(
            run.instruments.all(), on=(run.measured_at or run.received_at).date()
        )
        Flag.objects.bulk_create(
            Flag(run=run, code=flag.code, severity=flag.severity, detail=flag.detail)
            for flag in (*outcome.flags, *overdue)
        )
        run.verdicts.all().delete()
        Verdict.objects.bulk_create(
            Verdict(
                run=run,
                scheme=verdict.scheme,
                clause=verdict.clause,
                quantity=verdict.quantity,
                condition_key=verdict.condition.key,
                condition=verdict.condition.as_json(),
                limit=verdict.limit,
                sense=verdict.sense,
                value=verdict.value,
                expanded_uncertainty=verdict.expanded_uncertainty,
                margin=verdict.margin,
                outcome=verdict.outcome,
                deviations=list(verdict.deviations),
            )
            for verdict in outcome.verdicts
        )
        RunEvent.objects.create(run=run, what="computed")


def _reject(run_id: uuid.UUID, fence: int, rejected: Rejected) -> None:
    with transaction.atomic():
        history.lock_for(Run.objects.only("kind").get(pk=run_id).kind)
        run = _finish(
            run_id,
            fence,
            state=Run.State.REJECTED,
            problems=[problem.as_json() for problem in rejected.problems],
            problem_count=rejected.count,
            reading_notes=list(rejected.notes),
            trace=None,
            plot=None,
            details={},
        )
        if _replace_values(run, ()) and run.standing == Run.Standing.ACCEPTED:
            history.refresh(run.kind)
            history.follow(run.kind, adapter_id=run.adapter_id)
        run.flags.all().delete()
        run.verdicts.all().delete()
        RunEvent.objects.create(run=run, what="rejected", detail=f"{rejected.count} problems")


def _finish(run_id: uuid.UUID, fence: int, **columns: Any) -> Run:
    finished = _held(run_id, fence).update(
        lease_until=None, step="", error="", attempts=0, computed_at=Now(), **columns
    )
    if not finished:
        raise LostClaim
    return Run.objects.select_for_update(of=("self",)).get(pk=run_id)


def _release(run_id: uuid.UUID, fence: int, error: str) -> None:
    """Give the run back after an unexpected error, later each time, or set it aside."""
    if not connection.in_atomic_block:  # a caller's transaction is the caller's to end
        close_old_connections()
    with transaction.atomic():
        run = _held(run_id, fence).first()
        if run is None:
            return
        given_up = run.attempts >= settings.MAX_ATTEMPTS
        _held(run_id, fence).update(
            state=Run.State.SET_ASIDE if given_up else Run.State.RECEIVED,
            lease_until=None,
            step="",
            error=error[:2000],
            due_at=Now() + FIRST_RETRY * 2**run.attempts,
        )
        if given_up:
            RunEvent.objects.create(run=run, what="set aside", detail=error[:2000])


def _plain(column: FloatArray) -> list[float | None]:
    return [None if math.isnan(item) else item for item in np.asarray(column).tolist()]


def _taken_from(run: Run) -> set[tuple[str, str, bool]]:
    """Metric, condition and whether set apart of what other runs hold against this one.

    A comparable value of a run accepted later also took the place of one that is set apart.
    """
    taken = set()
    others = Value.objects.measured().current().filter(adapter=run.adapter_id).exclude(run=run)
    for row in others.select_related("run").only(
        "metric", "condition_key", "apart", "run__accepted_at"
    ):
        taken.add((row.metric, row.condition_key, bool(row.apart)))
        later = (
            row.run is not None
            and row.run.accepted_at is not None
            and run.accepted_at is not None
            and row.run.accepted_at > run.accepted_at
        )
        if later and not row.apart:
            taken.add((row.metric, row.condition_key, True))
    return taken


def _replace_values(run: Run, measured: tuple[Measured, ...]) -> bool:
    """Make the run's open values equal to `measured`, and say whether any changed.

    An unchanged value keeps its row, so computing twice changes nothing. A value that
    readers have seen is closed and its successor opened; one that was never accepted is
    replaced, so that no value that readers saw is lost.
    """
    now = timezone.now()
    # What the run gave last, whether it still stands or was replaced since by another run.
    latest = {
        (row.metric, row.condition_key): row
        for row in run.values.under_present_conditions().order_by("pk")
    }
    held = {key: row for key, row in latest.items() if row.current_until is None}
    fresh = {(item.metric, item.condition.key): item for item in measured}
    # An accepted run opens a value that it does not have unless another run holds it.
    open_to_run = run.standing == Run.Standing.ACCEPTED
    taken = _taken_from(run)

    def may_open(key: tuple[str, str]) -> bool:
        return open_to_run and (*key, bool(fresh[key].apart)) not in taken

    stays = {
        key
        for key, item in fresh.items()
        if key in latest
        and latest[key].value == item.value
        and latest[key].standard_uncertainty == item.standard_uncertainty
        and latest[key].method == queries.method_of(item.metric)
        and latest[key].apart == item.apart
        # An earlier computation of this run closed it, and nothing else stands in its place.
        and not (latest[key].current_until is not None and may_open(key))
    }
    gone = [row for key, row in held.items() if key not in stays]
    was_current = {(row.metric, row.condition_key) for row in gone if row.current_from is not None}
    Value.objects.filter(pk__in=[row.pk for row in gone], current_from__isnull=False).update(
        current_until=now
    )
    Value.objects.filter(pk__in=[row.pk for row in gone], current_from=None).delete()
    Value.objects.bulk_create(
        queries.value_row(
            item,
            adapter_id=run.adapter_id,
            run_id=run.pk,
            current_from=now if may_open(key) else None,
        )
        for key, item in fresh.items()
        if key not in stays
    )
    if was_current or open_to_run:
        Ledger.turn()
    return bool(gone) or len(stays) < len(fresh)
