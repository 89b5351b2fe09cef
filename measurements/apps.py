"""The measurements app."""

from __future__ import annotations

from typing import Any

from django.apps import AppConfig
from django.db import transaction

from catalog.signals import adapter_saved


class MeasurementsConfig(AppConfig):
    """Registers the app, its sweeper, and what follows from a change to the catalogue."""

    name = "measurements"

    def ready(self) -> None:
        """Connect what needs the app registry."""
        from measurements import actions, history, sweeper  # noqa: F401, PLC0415 need the app registry

        def refresh(*, adapter: Any, **_: Any) -> None:
            actions.refresh_physical_values(adapter)
            # Its publish date decides whose history it belongs to; in a transaction of its own,
            # because the lock of the history comes before that of an adapter.
            transaction.on_commit(lambda: history.refresh_all(adapter_id=adapter.pk))

        adapter_saved.connect(refresh, weak=False, dispatch_uid="measurements.physical")
