"""Ripple and noise of an adapter's output voltage."""

from __future__ import annotations

from measurements.kinds.ripple.kind import KIND

__all__ = ["KIND"]
