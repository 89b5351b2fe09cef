"""What the ports of an adapter advertise."""

from __future__ import annotations

from measurements.kinds.port_scan.kind import KIND

__all__ = ["KIND"]
