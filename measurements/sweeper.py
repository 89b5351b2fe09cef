"""The sweeper: rings again for every run that is not finished and that nobody holds.

It runs as a thread of each worker. Rings are cheap and a claim is exclusive, so any number
of sweepers may look at the same queue.
"""

from __future__ import annotations

import logging
import threading
from datetime import date, timedelta
from typing import Any

from celery.signals import worker_ready, worker_shutting_down
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.models import Q
from django.db.models.functions import Now
from django.utils import timezone

from catalog.models import Write
from measurements import history, queries, tasks
from measurements.models import Run

logger = logging.getLogger(__name__)

BATCH = 200
_stop = threading.Event()


def sweep(*, patience: timedelta | None = None) -> int:
    """Ring for every run that is due and was not rung for within `patience`; how many."""
    patience = timedelta(seconds=settings.SWEEP_SECONDS) if patience is None else patience
    due = (
        Run.objects.due()
        .filter(Q(rung_at=None) | Q(rung_at__lt=Now() - patience))
        .order_by("due_at")
        .values_list("pk", flat=True)[:BATCH]
    )
    rung = 0
    for run_id in list(due):
        if not tasks.ring(run_id):
            break  # the broker is away; the next pass tries again
        rung += 1
    return rung


def _keep_sweeping() -> None:
    queries.raw_store().sweep_incoming(older_than_s=24 * 3600)
    day: date | None = None
    while True:
        try:
            if day != (day := timezone.now().date()):
                Write.objects.forget_answers()
                history.refresh_all()  # embargoes end with the day, without anybody's doing
            sweep()
        except DatabaseError as error:
            logger.warning("The sweeper could not reach the database: %s", error)
        finally:
            connection.close()
        if _stop.wait(settings.SWEEP_SECONDS):
            return


@worker_ready.connect
def start(**_: Any) -> None:
    """Start sweeping with the worker; the first pass takes up what an earlier one left."""
    _stop.clear()
    threading.Thread(target=_keep_sweeping, name="sweeper", daemon=True).start()


@worker_shutting_down.connect
def stop(**_: Any) -> None:
    """Stop sweeping with the worker."""
    _stop.set()
