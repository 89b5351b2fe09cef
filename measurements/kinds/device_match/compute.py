"""From a checked table of devices on ports to values, flags and tables."""

from __future__ import annotations

from measurements.intake.columns import Table
from measurements.kinds.base import Condition, Measured, Outcome, Setup
from measurements.kinds.device_match.pairs import Tried, tried_pairs
from measurements.kinds.device_match.remarks import remarks
from measurements.kinds.device_match.tables import best_by_device, details_of


def measure(table: Table, setup: Setup) -> Outcome:
    """Every value that the table supports; `check` must have found nothing."""
    tried = tried_pairs(table, setup)
    return Outcome(
        values=tuple(_power(best) for best in best_by_device(tried).values()),
        flags=remarks(setup, tried=tried),
        verdicts=(),
        trace={},
        plot=None,
        details=details_of(setup, tried=tried),
    )


def _power(best: Tried) -> Measured:
    """The most that a device drew on any port [W]."""
    return Measured(
        metric="matched-power",
        value=best.pair.power_w,
        standard_uncertainty=best.standard_uncertainty,
        condition=Condition(device=best.pair.device),
    )
