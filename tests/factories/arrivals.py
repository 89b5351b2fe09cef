"""Files that arrived, for tests: kept by the one door and read by the worker's function."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib.auth.models import User

from measurements.models import Arrival
from measurements.reception import keep_arrival
from measurements.reception.reading import read


def foreign_log(power_w: float = 0.05, *, minutes: int = 16) -> bytes:
    """A standby log as no rule can match it: two channels in mW, semicolons, decimal comma."""

    def row(second: int) -> str:
        power_mw = 1000 * power_w + (0.2 if second % 20 else -0.2)
        return f"{second};{power_mw:.2f};{12.5:.1f};{230 + second % 3}".replace(".", ",")

    rows = [row(second) for second in range(0, 60 * minutes + 1, 10)]
    head = [
        "Logger of the long bench;;;",
        "Serial;4711;;",
        "",
        "Takt (s);Kanal 1 (mW);Kanal 2 (mW);Netz (V)",
    ]
    return "\r\n".join([*head, *rows, ""]).encode("latin-1")


def arrived(by: User, content: bytes, *, file_name: str = "log.csv", **said: Any) -> Arrival:
    """A file that was read once after it came."""
    arrival, _ = keep_arrival([content], file_name=file_name, by=by, said=said)
    return looked_at(arrival.pk)


def looked_at(arrival_id: uuid.UUID) -> Arrival:
    """The arrival after a worker read it."""
    read(arrival_id)
    return Arrival.objects.get(pk=arrival_id)
