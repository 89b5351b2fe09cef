"""Runs for pages, lists and the API, and the state of the queue."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from catalog.models import Viewer
from measurements.intake.rawstore import RawStore
from measurements.models import Flag, Run, RunEvent, Value, Verdict


def raw_store() -> RawStore:
    """The store of raw files that the settings name."""
    return RawStore(settings.RAW_DIR, limit=settings.MAX_UPLOAD_BYTES)


def run_page(run_id: uuid.UUID, *, viewer: Viewer) -> Run | None:
    """A run for its page or the API, with everything shown there; None if hidden."""
    return (
        Run.objects.visible_to(viewer)
        .select_related("adapter__maker", "unit", "port", "raw", "received_by", "superseded_by")
        .defer("trace")
        .prefetch_related(
            "instruments",
            Prefetch("flags", Flag.objects.order_by("pk")),
            Prefetch("verdicts", Verdict.objects.order_by("pk")),
            Prefetch("events", RunEvent.objects.select_related("by").order_by("at", "pk")),
        )
        .filter(pk=run_id)
        .first()
    )


def values_of(run: Run) -> list[Value]:
    """What a run gives: of each metric and condition the latest value.

    Those that another run replaced are among them, and those of a withdrawn run, as they last
    stood. One that the run's file gave by an earlier method only is not.
    """
    latest: dict[tuple[str, str], Value] = {}
    for value in Value.objects.under_present_conditions().filter(run=run).order_by("pk"):
        latest[value.metric, value.condition_key] = value
    closed = [
        value.pk for value in latest.values() if value.current_until not in (None, run.withdrawn_at)
    ]
    gone = set(closed) - _replaced(closed) if closed else set()
    return [value for value in latest.values() if value.pk not in gone]


def _replaced(values: Iterable[int]) -> set[int]:
    """Those in whose place another run's value came at the moment when they were closed."""
    successors = Value.objects.filter(
        adapter=OuterRef("adapter"),
        metric=OuterRef("metric"),
        condition_key=OuterRef("condition_key"),
        current_from=OuterRef("current_until"),
    ).exclude(run=OuterRef("run"))
    found = Value.objects.filter(Exists(successors), pk__in=values)
    return set(found.values_list("pk", flat=True))


def stands(value: Value) -> bool:
    """Whether readers are shown this value today."""
    return value.current_from is not None and value.current_until is None


def runs_listed(*, viewer: Viewer, touched_since: datetime | None = None) -> QuerySet[Run]:
    """Runs for a list, newest first, without their heavy columns.

    With `touched_since` only those with which anything happened since then.
    """
    runs = Run.objects.visible_to(viewer)
    if touched_since is not None:
        runs = runs.touched_since(touched_since)
    return (
        runs.select_related("adapter__maker", "unit", "port")
        .defer("trace", "plot", "problems", "reading_notes", "details")
        .order_by("-id")
    )


@dataclass(frozen=True, slots=True)
class QueueReport:
    """How many runs wait, are in work, and were set aside."""

    waiting: int
    computing: int
    set_aside: int


def queue_report() -> QueueReport:
    """The state of the queue, from the database, which is the queue."""
    states = list(
        Run.objects.filter(
            state__in=[Run.State.RECEIVED, Run.State.COMPUTING, Run.State.SET_ASIDE]
        ).values_list("state", flat=True)
    )
    return QueueReport(
        waiting=states.count(Run.State.RECEIVED),
        computing=states.count(Run.State.COMPUTING),
        set_aside=states.count(Run.State.SET_ASIDE),
    )
