"""The site itself as an app: roles, tokens, checks, commands."""

from __future__ import annotations

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class BrickledgerConfig(AppConfig):
    """Registers the checks and keeps the roles' groups in step with the code."""

    name = "brickledger"

    def ready(self) -> None:
        """Connect what needs the app registry."""
        from brickledger import checks  # noqa: F401, PLC0415 registering is the purpose
        from brickledger.roles import ensure_roles  # noqa: PLC0415 needs the app registry

        post_migrate.connect(ensure_roles, dispatch_uid="brickledger.roles")
