"""From a checked table of shared power to values, flags and tables."""

from __future__ import annotations

from measurements.intake.columns import Table
from measurements.kinds.base import Condition, Measured, Outcome, Setup
from measurements.kinds.sharing.claims import claim_results
from measurements.kinds.sharing.combinations import Combination, combinations_of
from measurements.kinds.sharing.remarks import remarks
from measurements.kinds.sharing.tables import best_of, details_of


def measure(table: Table, setup: Setup) -> Outcome:
    """Every value that the table supports; `check` must have found nothing."""
    combinations = combinations_of(table, setup)
    claims = claim_results(setup.adapter, combinations)
    return Outcome(
        values=_values(best_of(combinations), rated_w=setup.adapter.rated_power_w),
        flags=remarks(table, setup, combinations=combinations, claims=claims),
        verdicts=(),
        trace={},
        plot=None,
        details=details_of(setup, combinations=combinations, claims=claims),
    )


def _values(best: Combination | None, *, rated_w: float) -> tuple[Measured, ...]:
    """The highest total [W] and its share [%] of the rated power, which is exact as a statement."""
    if best is None or best.total is None:
        return ()
    total = best.total
    share = 100 / rated_w
    return (
        Measured("sharing-total", total.value, total.standard_uncertainty, Condition()),
        Measured(
            "sharing-kept",
            share * total.value,
            share * total.standard_uncertainty,
            Condition(),
        ),
    )
