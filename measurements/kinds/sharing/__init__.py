"""How an adapter shares its power among ports in use at the same time."""

from __future__ import annotations

from measurements.kinds.sharing.kind import KIND

__all__ = ["KIND"]
