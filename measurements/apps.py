"""The measurements app."""

from __future__ import annotations

from typing import Any

from django.apps import AppConfig

from catalog.signals import adapter_saved


class MeasurementsConfig(AppConfig):
    """Registers the app, its sweeper, and what follows from a change to the catalogue."""

    name = "measurements"

    def ready(self) -> None:
        """Connect what needs the app registry."""
        from measurements import actions, sweeper  # noqa: F401, PLC0415 need the app registry

        def refresh(*, adapter: Any, **_: Any) -> None:
            actions.refresh_physical_values(adapter)

        adapter_saved.connect(refresh, weak=False, dispatch_uid="measurements.physical")
