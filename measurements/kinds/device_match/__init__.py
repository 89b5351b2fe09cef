"""What reference devices draw from every port of an adapter."""

from __future__ import annotations

from measurements.kinds.device_match.kind import KIND

__all__ = ["KIND"]
