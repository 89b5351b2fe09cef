"""The site: settings, addresses, worker, shell templates."""

from brickledger.celery import app as celery_app

__all__ = ["celery_app"]
