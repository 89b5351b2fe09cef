"""What a run and an upload say alike about a file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any, Protocol

from catalog.models import Adapter, Port
from measurements.models.bench import Instrument


class Stated(Protocol):
    """What a run and an upload say alike about a file."""

    @property
    def adapter(self) -> Adapter: ...
    @property
    def port(self) -> Port | None: ...
    @property
    def mains_v(self) -> float | None: ...
    @property
    def mains_hz(self) -> float | None: ...
    @property
    def ambient_c(self) -> float | None: ...
    @property
    def measured_at(self) -> datetime | None: ...
    @property
    def note(self) -> str: ...


def stated_conditions(
    stated: Stated, *, unit: str, instruments: Iterable[Instrument], fields: Mapping[str, Any]
) -> dict[str, Any]:
    """Conditions as plain JSON under the names of the upload fields."""
    moment = stated.measured_at
    return {
        "adapter": stated.adapter.slug,
        "unit": unit,
        "measured_at": moment.astimezone(UTC).isoformat() if moment else None,
        "mains_v": stated.mains_v,
        "mains_hz": stated.mains_hz,
        "ambient_c": stated.ambient_c,
        "port": stated.port.label if stated.port else None,
        "instruments": sorted(item.name for item in instruments),
        "note": stated.note,
        **fields,
    }
