"""The worker: a Celery app whose messages only ring a bell; the database is the queue."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "brickledger.settings")

app = Celery("brickledger")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.autodiscover_tasks(related_name="reception")
