"""The bell: one message, one run's id. Losing it costs seconds, never a run."""

from __future__ import annotations

import json
import logging
import uuid
from pathlib import Path
from typing import Any

from celery import current_app, shared_task
from celery.signals import worker_init
from django.db.models.functions import Now

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
        try:
            compute_run.apply_async(args=(str(run_id),), retry=False)
        except Exception:
            if not mend_bell():
                raise
            compute_run.apply_async(args=(str(run_id),), retry=False)
    except Exception as error:  # brokers fail in many ways; the upload is on the disk already
        logger.warning("Run %s waits for the sweeper, the broker is away: %s", run_id, error)
        return False
    return True


def mend_bell() -> bool:
    """Put the embedded bell's folders in order; False when the broker is another one.

    They may not exist yet, or someone removed them, or a process was killed while it wrote a
    control file. Nothing in them is worth keeping.
    """
    options = current_app.conf.broker_transport_options
    if "control_folder" not in options:
        return False
    for name in ("data_folder_in", "data_folder_out", "control_folder"):
        Path(options[name]).mkdir(parents=True, exist_ok=True)
    for file in Path(options["control_folder"]).glob("*.exchange"):
        try:
            json.loads(file.read_bytes())
        except ValueError:
            file.unlink(missing_ok=True)
        except FileNotFoundError:
            continue
    return True


@worker_init.connect
def _mend_first(**_: Any) -> None:
    mend_bell()
