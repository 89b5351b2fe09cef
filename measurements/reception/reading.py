"""The worker's part: read a file that arrived and say what would come of it.

Nothing here decides anything, so that it may be done twice or again: what is found is kept with
the revision of the description that it belongs to, and a page whose file was not read rings
again.
"""

from __future__ import annotations

import logging
import time
import uuid
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

from celery import shared_task
from django.db.models.functions import Now
from django.utils import timezone
from django.utils.text import slugify

from measurements import queries, tasks
from measurements.confined import Exhausted, Found, Job, examine
from measurements.forms import RunForm
from measurements.intake.column_maps import ColumnMap
from measurements.kinds import all_kinds, get_kind
from measurements.kinds.base import DeviceFacts, Outcome, Setup
from measurements.models import Arrival, Run
from measurements.processing import read_limits

logger = logging.getLogger(__name__)

_TELL_EVERY_S = 1.0


@shared_task(name="measurements.read_arrival")
def read_arrival(arrival_id: str) -> None:
    """Read one file, if what is said of it was not looked at yet."""
    read(uuid.UUID(arrival_id))


def ring_arrival(arrival_id: uuid.UUID) -> None:
    """Tell the workers that a file waits to be read; a silent bell is rung again by its page."""
    Arrival.objects.filter(pk=arrival_id).update(rung_at=Now())
    try:
        try:
            read_arrival.apply_async(args=(str(arrival_id),), retry=False)
        except Exception:
            if not tasks.mend_bell():
                raise
            read_arrival.apply_async(args=(str(arrival_id),), retry=False)
    except Exception as error:  # brokers fail in many ways; the file is on the disk already
        logger.warning("Arrival %s waits, the broker is away: %s", arrival_id, error)


def read(arrival_id: uuid.UUID) -> None:
    """Find what would come of the file as it is described now, and keep that with it."""
    arrival = Arrival.objects.waiting().select_related("by").filter(pk=arrival_id).first()
    if arrival is None or arrival.is_read:
        return
    asked = Arrival.objects.filter(pk=arrival.pk, revision=arrival.revision)
    try:
        found = _found_json(_with_calibrations(arrival, examine_arrival(arrival, _teller(asked))))
    except Exhausted as exhausted:
        found = {**_found_json(None), "failure": str(exhausted)}
    asked.update(found=found, found_revision=arrival.revision, step="", said=arrival.said)


def _with_calibrations(arrival: Arrival, found: Found) -> Found:
    """What was found, with the warnings that the run will get for its instruments."""
    if found.outcome is None:
        return found
    form = RunForm({**arrival.said, "kind": found.kind}, viewer=arrival.by)
    if not form.is_valid():
        return found
    facts = form.facts()
    moment = facts.measured_at or timezone.now()
    overdue = queries.calibration_flags(facts.instruments, on=moment.date())
    flags = (*found.outcome.flags, *overdue)
    return replace(found, outcome=replace(found.outcome, flags=flags))


def _with_instruments(arrival: Arrival, *, kind: str) -> None:
    """Say the instruments of a file that was never looked at: those of this person's last run.

    A bench changes its instruments seldom; the page shows them ticked and lets them be changed.
    """
    if arrival.found_revision or "instruments" in arrival.said or not kind:
        return
    last = Run.objects.filter(kind=kind, received_by=arrival.by).order_by("-id").first()
    if last is not None:
        names = sorted(last.instruments.values_list("name", flat=True))
        arrival.said = {**arrival.said, "instruments": names} if names else arrival.said


def _teller(asked: Any) -> Callable[[str], None]:
    """Say how far it is, at most once a second."""
    last = 0.0

    def tell(words: str) -> None:
        nonlocal last
        if time.monotonic() - last >= _TELL_EVERY_S:
            last = time.monotonic()
            asked.update(step=words, rung_at=Now())

    return tell


def _ignored(_words: str) -> None:
    pass


def examine_run(run: Run, *, problems_kept: int) -> Found:
    """What the file of a run holds under its conditions. Raises `Exhausted` and `OSError`."""
    maps = queries.column_maps_in_use()
    if run.column_map is not None:
        maps = {run.kind: (run.column_map.pure,)}
    job = Job(
        path=queries.raw_store().path(run.raw_id),
        file_name=run.file_name,
        kind=run.kind,
        setup=queries.setup_of(queries.run_to_compute(run.pk)),
        maps=maps,
        problems_kept=problems_kept,
    )
    return examine(job, limits=read_limits())


def examine_arrival(
    arrival: Arrival, told: Callable[[str], None] = _ignored, *, problems_kept: int = 200
) -> Found:
    """What a file holds as it is described now. Raises `Exhausted` and `OSError`."""
    maps = queries.column_maps_in_use()
    if arrival.chosen:
        own = ColumnMap.from_json(arrival.chosen)
        maps = {kind.slug: (own,) for kind in all_kinds()}
    job = Job(
        path=queries.raw_store().path(arrival.raw_id),
        file_name=arrival.file_name,
        kind=arrival.said.get("kind", ""),
        setup=None,
        maps=maps,
        problems_kept=problems_kept,
        names_kinds=True,
    )
    _with_instruments(arrival, kind=job.kind)
    job = replace(job, setup=_setup(arrival, kind=job.kind))
    found = examine(job, limits=read_limits(), told=told)
    if job.setup is None and not job.kind and found.candidates and found.candidates[0].is_sure:
        _with_instruments(arrival, kind=found.kind)
        setup = _setup(arrival, kind=found.kind)
        job = replace(job, kind=found.kind, setup=setup, names_kinds=False)
        if job.setup is not None:
            found = replace(
                examine(job, limits=read_limits(), told=told), candidates=found.candidates
            )
    if found.strangers and job.setup is not None:
        # They become known when the file is handed in; until then they are known here only.
        named = tuple(DeviceFacts(slug=slugify(name), name=name) for name in found.strangers)
        setup = replace(job.setup, devices=(*job.setup.devices, *named))
        strangers, candidates = found.strangers, found.candidates
        found = replace(
            examine(
                replace(job, setup=setup, takes_strangers=True), limits=read_limits(), told=told
            ),
            strangers=strangers,
            candidates=candidates,
        )
    return found


def _setup(arrival: Arrival, *, kind: str) -> Setup | None:
    """The conditions as far as they were said; None while they do not make a run."""
    if not kind or not arrival.said.get("adapter"):
        return None
    form = RunForm({**arrival.said, "kind": kind}, viewer=arrival.by)
    if not form.is_valid():
        return None
    facts = form.facts()
    fields = {**(facts.method_fields or {}), **(facts.devices or {})}
    setup = queries.setup_with(facts, instruments=facts.instruments, fields=fields)
    known = {device.slug for device in setup.devices}
    added = tuple(
        DeviceFacts(slug=name, name=name)
        for name in (facts.devices or {}).values()
        if name not in known
    )
    return replace(setup, devices=(*setup.devices, *added))


def _found_json(found: Found | None) -> dict[str, Any]:
    if found is None:
        found = Found(kind="")
    return {
        "kind": found.kind,
        "candidates": [asdict(item) for item in found.candidates],
        "notes": list(found.notes),
        "problems": [problem.as_json() for problem in found.problems],
        "problem_count": found.problem_count,
        "evidence": None if found.evidence is None else asdict(found.evidence),
        "sample": None if found.sample is None else found.sample.as_json(),
        "strangers": list(found.strangers),
        "outcome": None if found.outcome is None else _outcome_json(found.kind, found.outcome),
        "failure": "",
    }


def _outcome_json(kind: str, outcome: Outcome) -> dict[str, Any]:
    order = {metric.key: place for place, metric in enumerate(get_kind(kind).metrics)}
    return {
        "values": [
            {
                "metric": item.metric,
                "value": item.value,
                "standard_uncertainty": item.standard_uncertainty,
                "condition": item.condition.as_json(),
                "apart": item.apart,
            }
            for item in sorted(outcome.values, key=lambda item: order[item.metric])
        ],
        "flags": [asdict(flag) for flag in outcome.flags],
        "verdicts": [
            {**asdict(item), "condition": item.condition.as_json()} for item in outcome.verdicts
        ],
    }
