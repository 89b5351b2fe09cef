"""Charging of a reference device over time."""

from __future__ import annotations

from measurements.kinds.charge.kind import KIND

__all__ = ["KIND"]
