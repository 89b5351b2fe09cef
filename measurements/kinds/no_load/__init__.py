"""Power drawn from the mains with nothing connected to the adapter."""

from __future__ import annotations

from measurements.kinds.no_load.kind import KIND

__all__ = ["KIND"]
