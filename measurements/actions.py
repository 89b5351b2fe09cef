"""What people do to runs. Page, API and command line all come through here."""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.utils import timezone

from catalog.actions import confirm_devices, get_device, get_unit
from catalog.models import Adapter, Device, Port
from measurements import history, queries, tasks
from measurements.intake.rawstore import Kept
from measurements.models import (
    Amendment,
    ColumnMap,
    Instrument,
    Ledger,
    RawFile,
    Run,
    RunEvent,
    Value,
    line_of,
    stated_conditions,
)

logger = logging.getLogger(__name__)

Person = User | None


class Refused(Exception):
    """What was asked cannot be done; `detail` says why and what to do, `field` where."""

    def __init__(self, detail: str, *, field: str = "") -> None:
        super().__init__(detail)
        self.detail = detail
        self.field = field


@dataclass(frozen=True, slots=True)
class Received:
    """A run and whether this upload created it."""

    run: Run
    created: bool


@dataclass(frozen=True, slots=True)
class RunFacts:
    """What is said about a file when it is handed in, validated.

    `devices` are method fields that name a reference device, by slug or name; one that is not
    known yet is written down with the run.
    """

    adapter: Adapter
    kind: str
    unit: str = "1"
    mains_v: float | None = None
    mains_hz: float | None = None
    ambient_c: float | None = None
    port: Port | None = None
    instruments: tuple[Instrument, ...] = ()
    method_fields: Mapping[str, Any] | None = None
    devices: Mapping[str, str] | None = None
    measured_at: datetime | None = None
    note: str = ""

    @property
    def conditions(self) -> dict[str, Any]:
        """As `Run.conditions` would say them; a device that is not known yet by its name."""
        return stated_conditions(
            self,
            unit=self.unit,
            instruments=self.instruments,
            fields={**(self.method_fields or {}), **(self.devices or {})},
        )


def identity_of(facts: RunFacts, sha256: str, *, fields: Mapping[str, Any]) -> str:
    """One hash for a file and the conditions that its numbers depend on.

    `fields` are the method fields, every device by its slug.
    """
    parts = {
        "adapter": facts.adapter.pk,
        "kind": facts.kind,
        "unit": facts.unit,
        "line": line_of(facts.mains_v),
        "mains_hz": facts.mains_hz,
        "ambient_c": facts.ambient_c,
        "port": facts.port.label if facts.port else "",
        "instruments": sorted(item.name for item in facts.instruments),
        "fields": dict(fields),
        "raw": sha256,
    }
    text = json.dumps(parts, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def receive_run(
    facts: RunFacts, *, chunks: Iterable[bytes], file_name: str, by: Person
) -> Received:
    """Keep a file for ever and write down its run; the one door for every file.

    The bytes are durable in the raw store before the row is written, and the row is
    committed before this returns, so whoever is told yes has lost nothing. The same file for
    the same adapter, kind and condition gives the run that is there. Raises
    `rawstore.TooLarge` and `OSError` with nothing kept.
    """
    return receive_kept(facts, queries.raw_store().keep(chunks), file_name=file_name, by=by)


def receive_kept(
    facts: RunFacts,
    kept: Kept,
    *,
    file_name: str,
    by: Person,
    column_map: ColumnMap | None = None,
    remark: str = "",
) -> Received:
    """Write down the run of a file that the raw store has already.

    `column_map` is the one by which its columns are to be read. `remark` says why it is handed
    in in spite of warnings. The same file for the same adapter, kind and condition gives the run
    that is there.
    """
    identity = ""
    try:
        with transaction.atomic():
            fields, added = _fields_of(facts)
            identity = identity_of(facts, kept.sha256, fields=fields)
            # Before the look for a run: that one may have come with a package without its file.
            RawFile.objects.write_down(kept.sha256, size=kept.size)
            if there := _standing_run(identity):
                return Received(there, created=False)
            run = Run.objects.create(
                adapter=facts.adapter,
                unit=get_unit(facts.adapter, serial=facts.unit),
                kind=facts.kind,
                raw_id=kept.sha256,
                file_name=file_name[:255],
                identity=identity,
                mains_v=facts.mains_v,
                mains_hz=facts.mains_hz,
                line=line_of(facts.mains_v),
                ambient_c=facts.ambient_c,
                port=facts.port,
                method_fields=fields,
                measured_at=facts.measured_at,
                note=facts.note,
                received_by=by,
                column_map=column_map,
            )
            run.instruments.set(facts.instruments)
            RunEvent.objects.create(run=run, by=by, what="received", detail=run.file_name)
            if remark:
                RunEvent.objects.create(run=run, by=by, what="warnings accepted", detail=remark)
            _tell_of_devices(run, added, by=by)
            transaction.on_commit(lambda: tasks.ring(run.pk))
    except IntegrityError:
        # Two uploads of the same file at once: the other one won.
        if there := _standing_run(identity):
            return Received(there, created=False)
        raise
    return Received(run, created=True)


def _fields_of(facts: RunFacts) -> tuple[dict[str, Any], list[Device]]:
    """The method fields with every device by its slug, and the devices new with them."""
    fields = dict(facts.method_fields or {})
    added = []
    for name, text in (facts.devices or {}).items():
        device, is_new = get_device(text)
        fields[name] = device.slug
        added += [device] if is_new else []
    return fields, added


def _tell_of_devices(run: Run, added: Iterable[Device], *, by: Person) -> None:
    for device in added:
        RunEvent.objects.create(run=run, by=by, what="device added", detail=device.name)


def _standing_run(identity: str) -> Run | None:
    """The run of that file under those conditions, or the one that was amended from them.

    The second, so that what is sent again after an amendment makes no run of the conditions
    that were found wrong.
    """
    runs = Run.objects.exclude(standing=Run.Standing.WITHDRAWN)
    return (
        runs.filter(identity=identity).first()
        or runs.filter(amendments__identity=identity).order_by("-amendments__at").first()
    )


def _held_still(run: Run, *, also: Adapter | None = None) -> Run:
    """The run as it is now, locked, with all that changes what stands of its adapter.

    Raises `Refused` where it was moved to another adapter since `run` was read.
    """
    history.lock_for(run.kind)
    # The adapter's row is the lock for all that changes which of its values stand. Its key is
    # left free: a worker that stores a run must be able to refer to it, or both would wait.
    adapters = {run.adapter_id, also.pk if also else run.adapter_id}
    list(Adapter.objects.select_for_update(no_key=True).filter(pk__in=adapters).order_by("pk"))
    now = Run.objects.select_related("adapter").select_for_update(of=("self",)).get(pk=run.pk)
    if now.adapter_id != run.adapter_id:
        raise Refused("The run was moved to another adapter meanwhile; look at it again.")
    return now


def _locked(run: Run, *, by: Person) -> Run:
    run = _held_still(run)
    if not run.may_be_judged_by(by):
        raise PermissionError("Only an editor may do that to this run.")
    return run


@transaction.atomic
def accept_run(run: Run, *, by: Person) -> Run:
    """Let a run's values stand: they replace earlier ones of the same metric and condition.

    A value that is set apart replaces only another such one. A run that no value stands from
    any more is superseded. Raises `PermissionError` and
    `Refused`.
    """
    run = _locked(run, by=by)
    if run.state != Run.State.READY:
        raise Refused(f"The run is {run.get_state_display()}; only a ready run can be accepted.")
    if run.standing != Run.Standing.PROVISIONAL:
        raise Refused(f"The run is {run.get_standing_display()} already.")
    now = timezone.now()
    rows = list(run.values.filter(current_until=None))
    fresh = {(row.metric, row.condition_key): row for row in rows}
    displaced = [
        row
        for row in Value.objects.current().filter(
            adapter=run.adapter_id, run__isnull=False, metric__in={metric for metric, _ in fresh}
        )
        if (newer := fresh.get((row.metric, row.condition_key))) and (row.apart or not newer.apart)
    ]
    Value.objects.filter(pk__in=[row.pk for row in displaced]).update(current_until=now)
    Value.objects.filter(pk__in=[row.pk for row in rows]).update(current_from=now)
    run.standing = Run.Standing.ACCEPTED
    run.accepted_at = now
    run.save(update_fields=["standing", "accepted_at"])
    confirm_devices({row.device for row in rows if row.device})
    RunEvent.objects.create(run=run, by=by, at=now, what="accepted")
    earlier = Run.objects.filter(
        pk__in={row.run_id for row in displaced}, standing=Run.Standing.ACCEPTED
    )
    for other in earlier.exclude(
        # Values of the catalogue have no run; NULL among them would make the exclusion void.
        pk__in=Value.objects.current()
        .filter(adapter=run.adapter_id, run__isnull=False)
        .values("run")
    ):
        other.standing = Run.Standing.SUPERSEDED
        other.superseded_by = run
        other.save(update_fields=["standing", "superseded_by"])
        RunEvent.objects.create(
            run=other, by=by, at=now, what="superseded", detail=f"by run {run.pk}"
        )
    _spread(run)
    return run


def _spread(run: Run) -> None:
    """Bring up to date whatever reads the values that `run` has just changed."""
    history.refresh(run.kind)
    waiting = history.follow(run.kind, adapter_id=run.adapter_id)
    transaction.on_commit(lambda: [tasks.ring(run_id) for run_id in waiting])
    Ledger.turn()


@transaction.atomic
def withdraw_run(run: Run, *, by: Person, reason: str) -> Run:
    """Take a run out of every ranking, with the reason in sight.

    Values that it had displaced stand again, from the newest accepted run that has them.
    Raises `PermissionError` and `Refused`.
    """
    reason = reason.strip()
    if not reason:
        raise Refused("Say why the run is withdrawn; readers see the reason.", field="reason")
    run = _locked(run, by=by)
    if run.standing == Run.Standing.WITHDRAWN:
        raise Refused("The run is withdrawn already.")
    now = timezone.now()
    stood = list(run.values.current())
    run.values.current().update(current_until=now)
    run.standing = Run.Standing.WITHDRAWN
    run.withdrawn_at = now
    run.withdrawn_reason = reason
    run.superseded_by = None
    run.save(update_fields=["standing", "withdrawn_at", "withdrawn_reason", "superseded_by"])
    RunEvent.objects.create(run=run, by=by, at=now, what="withdrawn", detail=reason)
    _reinstate(run.adapter_id, vacated=stood, at=now, by=by, why="its successor was withdrawn")
    _spread(run)
    return run


@transaction.atomic
def amend_run(run: Run, facts: RunFacts, *, by: Person, reason: str, seen: int) -> Run:
    """Correct what was said about a run's file; the run is computed anew and judged anew.

    The file, its hash and the run's id stay. What stood under the old conditions is closed and
    what it had displaced stands again; the run is provisional until somebody accepts it. A
    worker that computes the old conditions at this moment writes nothing. `seen` is how many
    amendments whoever asks knew of, so that nobody undoes what they have not seen. Raises
    `PermissionError` and `Refused`.
    """
    reason = reason.strip()
    if not reason:
        raise Refused("Say why the run is amended; readers see the reason.", field="reason")
    run = _held_still(run, also=facts.adapter)
    if not run.may_be_amended_by(by):
        raise PermissionError(
            "Only an editor may amend this run, or whoever handed it in while it is provisional."
        )
    if run.standing not in (Run.Standing.PROVISIONAL, Run.Standing.ACCEPTED):
        raise Refused(
            f"The run is {run.get_standing_display()}; only a provisional or an accepted run can "
            "be amended. Withdraw it if it is not yet, and hand its file in again as it should be."
        )
    if not run.raw.held:
        raise Refused(
            "The raw file of this run is not held here, so that nothing could be computed anew. "
            "Hand the file in first, as it was described, or amend the run where it came from."
        )
    if facts.kind != run.kind:
        raise Refused("The kind of a run stays; withdraw it and hand its file in again.")
    if run.amendments.count() != seen:
        raise Refused("The run was amended meanwhile; look at it again before you change more.")
    now = timezone.now()
    before, identity = run.conditions, run.identity
    _take_back(run, at=now, by=by)
    added = _restate(run, facts, at=now)
    after = run.conditions
    changed = [name for name in {**before, **after} if before.get(name) != after.get(name)]
    if not changed:
        raise Refused("Nothing would change: these are the run's conditions already.")
    Amendment.objects.create(
        run=run,
        at=now,
        by=by,
        reason=reason,
        before={name: before.get(name) for name in changed},
        after={name: after.get(name) for name in changed},
        identity=identity,
    )
    RunEvent.objects.create(run=run, by=by, at=now, what="amended", detail=reason)
    _tell_of_devices(run, added, by=by)
    transaction.on_commit(lambda: tasks.ring(run.pk))
    return run


def _take_back(run: Run, *, at: datetime, by: Person) -> None:
    """Make the run provisional, without anything that was computed of it."""
    was_accepted = run.standing == Run.Standing.ACCEPTED
    stood = list(run.values.current())
    run.values.current().update(current_until=at)
    run.values.filter(current_from=None).delete()
    run.flags.all().delete()
    run.verdicts.all().delete()
    run.standing = Run.Standing.PROVISIONAL
    run.accepted_at = None
    run.save(update_fields=["standing", "accepted_at"])
    if was_accepted:
        _reinstate(run.adapter_id, vacated=stood, at=at, by=by, why="its successor was amended")
        _spread(run)


def _restate(run: Run, facts: RunFacts, *, at: datetime) -> list[Device]:
    """Write other conditions on the run and put it back into the queue; new devices."""
    fields, added = _fields_of(facts)
    stated: dict[str, Any] = {
        "adapter": facts.adapter,
        "unit": get_unit(facts.adapter, serial=facts.unit),
        "mains_v": facts.mains_v,
        "mains_hz": facts.mains_hz,
        "line": line_of(facts.mains_v),
        "ambient_c": facts.ambient_c,
        "port": facts.port,
        "method_fields": fields,
        "measured_at": facts.measured_at,
        "note": facts.note,
        "identity": identity_of(facts, run.raw_id, fields=fields),
    }
    to_compute: dict[str, Any] = {
        "state": Run.State.RECEIVED,
        "step": "",
        "lease_until": None,
        "fence": run.fence + 1,
        "attempts": 0,
        "due_at": at,
        "rung_at": None,
        "computed_at": None,
        "error": "",
        "problems": [],
        "problem_count": 0,
        "reading_notes": [],
        "trace": None,
        "plot": None,
        "details": {},
    }
    for name, value in {**stated, **to_compute}.items():
        setattr(run, name, value)
    try:
        with transaction.atomic():
            run.save(update_fields=[*stated, *to_compute])
    except IntegrityError:
        there = Run.objects.filter(identity=run.identity).exclude(standing=Run.Standing.WITHDRAWN)
        if (other := there.exclude(pk=run.pk).first()) is None:
            raise
        raise Refused(
            f"Run {other.pk} holds this file under these conditions already; withdraw one of them."
        ) from None
    run.instruments.set(facts.instruments)
    return added


def _reinstate(
    adapter_id: int, *, vacated: Sequence[Value], at: datetime, by: Person, why: str
) -> None:
    """Open again, as new rows, what would stand had the vacated values never been.

    For each condition that is the newest comparable value, and beside it a newer one that is
    set apart.
    """
    keys = {(row.metric, row.condition_key) for row in vacated}
    held = {
        (row.metric, row.condition_key, bool(row.apart))
        for row in Value.objects.measured().current().filter(adapter=adapter_id)
    }
    candidates = (
        Value.objects.under_present_conditions()
        .filter(
            adapter=adapter_id,
            metric__in={metric for metric, _ in keys},
            run__standing__in=[Run.Standing.ACCEPTED, Run.Standing.SUPERSEDED],
            run__state=Run.State.READY,
        )
        # A superseded run that was recomputed holds open rows that have never stood.
        .exclude(current_from=None, current_until__isnull=False)
        .select_related("run")
        .order_by("-run__accepted_at", "-pk")
    )
    revived: dict[Any, Run] = {}
    seen: set[tuple[Any, str, str]] = set()
    for row in candidates:
        key = (row.metric, row.condition_key)
        # The newest row of a run is what its file gives today; older ones are history.
        if key not in keys or row.run is None or (row.run_id, *key) in seen:
            continue
        seen.add((row.run_id, *key))
        if not row.apart:
            keys.discard(key)  # whatever is older was replaced by this one
        if (*key, bool(row.apart)) in held:
            continue
        held.add((*key, bool(row.apart)))
        revived[row.run_id] = row.run
        if row.current_from is not None:
            row.pk = None  # it has stood before: what stands again is a new row
            row.current_until = None
        row.current_from = at
        row.save()
    for run in revived.values():
        if run.standing == Run.Standing.SUPERSEDED:
            run.standing = Run.Standing.ACCEPTED
            run.superseded_by = None
            run.save(update_fields=["standing", "superseded_by"])
            RunEvent.objects.create(run=run, by=by, at=at, what="reinstated", detail=why)


@transaction.atomic
def refresh_physical_values(adapter: Adapter) -> None:
    """Bring the values that follow from the catalogue alone up to its present facts."""
    Ledger.turn()  # a change to ports, ratings or the publish date matters to rankings too
    now = timezone.now()
    held = {row.metric: row for row in adapter.values.measured().current().filter(run=None)}
    for measured in queries.physical_measures(adapter):
        row = held.pop(measured.metric, None)
        fresh = queries.value_row(measured, adapter_id=adapter.pk, run_id=None, current_from=now)
        if row is not None:
            same = (row.value, row.standard_uncertainty, row.method) == (
                fresh.value,
                fresh.standard_uncertainty,
                fresh.method,
            )
            if same:
                continue
            row.current_until = now
            row.save(update_fields=["current_until"])
        fresh.save()
    for row in held.values():
        row.current_until = now
        row.save(update_fields=["current_until"])
