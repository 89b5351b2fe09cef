"""Efficiency over load, at every output voltage of a port."""

from __future__ import annotations

from measurements.kinds.efficiency.kind import KIND

__all__ = ["KIND"]
