"""The bell: one message, one run's id. Losing it costs seconds, never a run."""

from __future__ import annotations

import logging
import uuid

from celery import shared_task
from django.db.models.functions import Now
from kombu.exceptions import OperationalError

from measurements import processing
from measurements.models import Run

logger = logging.getLogger(__name__)


@shared_task(name="measurements.compute_run")
def compute_run(run_id: str) -> str:
    """Compute one run, if it still waits for that."""
    return processing.compute(uuid.UUID(run_id))


def ring(run_id: uuid.UUID) -> bool:
    """Tell the workers that a run waits. False when the bell could not be reached.

    A silent bell is not an error of the caller's: the run is in the database, and the
    sweeper rings again.
    """
    Run.objects.filter(pk=run_id).update(rung_at=Now())
    try:
        compute_run.apply_async(args=(str(run_id),), retry=False)
    except (OperationalError, OSError) as error:
        logger.warning("Run %s waits for the sweeper, the broker is away: %s", run_id, error)
        return False
    return True
