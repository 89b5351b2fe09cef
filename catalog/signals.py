"""The one word that travels upward: an adapter's facts have changed.

Packages import one way, so the catalogue cannot call what is computed from its facts
(power density, for instance). It says that something changed, inside the transaction.
"""

from __future__ import annotations

from django.dispatch import Signal

adapter_saved = Signal()
"""Sent with `adapter` after its row, ports and claims are saved, before the commit."""
