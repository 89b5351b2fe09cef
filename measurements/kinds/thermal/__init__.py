"""Heating of an adapter's surface under load."""

from __future__ import annotations

from measurements.kinds.thermal.kind import KIND

__all__ = ["KIND"]
