"""What is checked before anything starts: one number and one hint for each mistake."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning, register

BROKERS = ("filesystem", "redis", "rediss", "amqp", "amqps", "memory")


@register()
def settings_are_readable(app_configs: Any, **_: Any) -> Sequence[CheckMessage]:
    """E001: a variable of the environment could not be read."""
    return [
        Error(mistake.message, hint=mistake.hint, obj=mistake.name, id="brickledger.E001")
        for mistake in settings.ENVIRONMENT.mistakes
    ]


@register()
def folders_are_writable(app_configs: Any, **_: Any) -> Sequence[CheckMessage]:
    """E002: the data folder, the raw store or the SQLite file's folder cannot be written."""
    found: list[CheckMessage] = []
    folders = [
        ("BRICKLEDGER_DATA_DIR", settings.DATA_DIR),
        ("BRICKLEDGER_RAW_DIR", settings.RAW_DIR),
    ]
    database = settings.DATABASES["default"]
    if database["ENGINE"].endswith("sqlite3"):
        folders.append(("DATABASE_URL", Path(database["NAME"]).absolute().parent))
    for name, folder in folders:
        there = Path(folder)
        while not there.exists():
            there = there.parent
        if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
            found.append(
                Error(
                    f"{folder} cannot be created or written: {there} is in the way.",
                    hint=f"Set {name} to a folder that this user may write.",
                    obj=name,
                    id="brickledger.E002",
                )
            )
    return found


@register()
def broker_is_known(app_configs: Any, **_: Any) -> Sequence[CheckMessage]:
    """E003: the broker's address has a scheme that was never tried."""
    scheme = settings.CELERY_BROKER_URL.split(":", 1)[0]
    if scheme in BROKERS:
        return []
    return [
        Error(
            f"CELERY_BROKER_URL begins with “{scheme}:”, which is not a broker known here.",
            hint="Use redis://host:6379/0 or amqp://host:5672//, or remove it (embedded bell).",
            obj="CELERY_BROKER_URL",
            id="brickledger.E003",
        )
    ]


@register()
def embedded_parts_stay_on_one_machine(app_configs: Any, **_: Any) -> Sequence[CheckMessage]:
    """W001: PostgreSQL with the embedded bell: a worker elsewhere would never hear it."""
    engine = settings.DATABASES["default"]["ENGINE"]
    if "postgresql" in engine and settings.CELERY_BROKER_URL.startswith("filesystem"):
        return [
            Warning(
                "The database is PostgreSQL but the bell is a folder of this machine.",
                hint="Workers on other machines are only rung by the sweeper; "
                "set CELERY_BROKER_URL if there are any.",
                id="brickledger.W001",
            )
        ]
    return []


@register(deploy=True)
def site_is_reached_safely(app_configs: Any, **_: Any) -> Sequence[CheckMessage]:
    """W002: the site answers on outside names without HTTPS in front of it."""
    local = {"localhost", "127.0.0.1", "[::1]"}
    if settings.BEHIND_HTTPS or set(settings.ALLOWED_HOSTS) <= local:
        return []
    return [
        Warning(
            "BRICKLEDGER_ALLOWED_HOSTS names outside hosts, and BRICKLEDGER_HTTPS is not set.",
            hint="Put a proxy with TLS in front, have it set X-Forwarded-Proto, "
            "and set BRICKLEDGER_HTTPS=1.",
            id="brickledger.W002",
        )
    ]


@register()
def proxies_are_told_apart_from_clients(app_configs: Any, **_: Any) -> Sequence[CheckMessage]:
    """W003: behind a proxy, but its clients would all be counted as one."""
    if settings.BEHIND_HTTPS and settings.RATE_ADDRESS and not settings.PROXIES:
        return [
            Warning(
                "BRICKLEDGER_HTTPS says that a proxy stands in front, and BRICKLEDGER_PROXIES is "
                "not set: all readers share the proxy's address and its limit of calls.",
                hint="Have the proxy add to X-Forwarded-For and set BRICKLEDGER_PROXIES=1 (or how "
                "many there are), or set BRICKLEDGER_RATE_ADDRESS=0.",
                obj="BRICKLEDGER_PROXIES",
                id="brickledger.W003",
            )
        ]
    return []
