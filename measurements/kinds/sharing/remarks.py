"""What a reader of a sharing run should know beside its values."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from measurements.intake.columns import Table
from measurements.kinds.base import Flag, Setup
from measurements.kinds.instruments import instrument_flags, listed
from measurements.kinds.sharing.claims import ClaimResult, broken
from measurements.kinds.sharing.combinations import MEASURED_COLUMNS, Amount, Combination
from measurements.kinds.sharing.labels import combination_name
from measurements.kinds.sharing.plan import planned_orders
from measurements.kinds.slips import hardly_anything_comes_out, little_of_the_rating
from measurements.metrics.uncertainty import root_sum_square

_SHOWN_COMBINATIONS = 6


def remarks(
    table: Table,
    setup: Setup,
    *,
    combinations: Sequence[Combination],
    claims: Sequence[ClaimResult],
) -> tuple[Flag, ...]:
    """Every flag of the run, each code at most once."""
    return (
        *_ports(setup, combinations=combinations),
        *_slips(combinations, rated_w=setup.adapter.rated_power_w),
        *_incomplete(combinations),
        *_above(combinations, rated_w=setup.adapter.rated_power_w),
        *_orders(combinations),
        *_claims(claims),
        *instrument_flags(setup, quantities=_measured(table)),
    )


def _slips(combinations: Sequence[Combination], *, rated_w: float) -> Iterator[Flag]:
    """Units that are wrong by a factor of thousand."""
    yield from little_of_the_rating(max(item.measured_w for item in combinations), rated_w=rated_w)
    fed = [item for item in combinations if item.input_w is not None]
    yield from hardly_anything_comes_out(
        np.array([item.measured_w for item in fed]),
        input_w=np.array([item.input_w for item in fed], dtype=np.float64),
    )


def _ports(setup: Setup, *, combinations: Sequence[Combination]) -> Iterator[Flag]:
    if len(setup.adapter.ports) == 1:
        yield Flag(
            "single-port",
            "warning",
            "The catalogue lists one port for this adapter: there is nothing to share, and no "
            "total is given.",
        )
        return
    whole = [item for item in combinations if item.total is not None]
    if not any(len(item.ports) > 1 for item in whole):
        yield Flag(
            "no-shared-total",
            "warning",
            "No combination of two or more ports has a row for each of its ports: no total is "
            "given.",
        )
        return
    tried = {frozenset(item.ports) for item in whole}
    # Keyed by the ports alone, so that of two orders the first names them.
    planned = {frozenset(order): order for order in reversed(planned_orders(setup.adapter))}
    untried = [
        combination_name(order) for ports, order in reversed(planned.items()) if ports not in tried
    ]
    if untried:
        yield Flag(
            "untried-combination",
            "note",
            f"Not measured: {listed(_shown(untried))}. The highest total may lie there.",
        )


def _above(combinations: Sequence[Combination], *, rated_w: float) -> Iterator[Flag]:
    parts = [
        f"{item.name} with {item.total.value:.1f} W"
        for item in combinations
        if item.total is not None and item.is_above(rated_w)
    ]
    if parts:
        yield Flag(
            "above-rating",
            "warning",
            f"More than the rated {rated_w:g} W is given by {listed(_shown(parts))}. Check the "
            "readings; an adapter that does this runs beyond what its maker states.",
        )


def _incomplete(combinations: Sequence[Combination]) -> Iterator[Flag]:
    parts = [
        f"{item.name} lacks {listed(item.missing)}" for item in combinations if item.total is None
    ]
    if parts:
        yield Flag(
            "incomplete-combination",
            "warning",
            f"A port in use has no row: {'; '.join(parts)}. Such a combination has no total.",
        )


def _orders(combinations: Sequence[Combination]) -> Iterator[Flag]:
    """Same ports, another order of plugging in, and more than the uncertainty between them."""
    by_ports: defaultdict[frozenset[str], list[Combination]] = defaultdict(list)
    for item in combinations:
        by_ports[frozenset(item.ports)].append(item)
    parts = [part for orders in by_ports.values() for part in _differences(orders)]
    if parts:
        yield Flag(
            "order-dependent",
            "note",
            f"The power depends on the order of plugging in: {'; '.join(parts)}. Each order "
            "stands as a row of its own.",
        )


def _differences(orders: Sequence[Combination]) -> Iterator[str]:
    totals = [(item.name, item.total) for item in orders if item.total is not None]
    yield from _difference("together", totals)
    for port in sorted(orders[0].ports):
        powers = [
            (item.name, item.readings[port].power) for item in orders if port in item.readings
        ]
        yield from _difference(port, powers)


def _difference(what: str, amounts: Sequence[tuple[str, Amount]]) -> Iterator[str]:
    if len(amounts) < 2:
        return
    low_name, low = min(amounts, key=lambda named: named[1].value)
    high_name, high = max(amounts, key=lambda named: named[1].value)
    expanded = root_sum_square((low.expanded, high.expanded))
    if high.value - low.value > expanded:
        yield (
            f"{what} {high.value:.1f} W in {high_name} and {low.value:.1f} W in {low_name} "
            f"(U = {expanded:.2g} W)"
        )


def _claims(claims: Sequence[ClaimResult]) -> Iterator[Flag]:
    parts = list(broken(claims))
    if parts:
        yield Flag(
            "claim-not-met",
            "warning",
            f"Less than the label states, by more than the uncertainty: {listed(parts)}.",
        )


def _measured(table: Table) -> Iterator[str]:
    return (quantity for quantity, column in MEASURED_COLUMNS.items() if column in table)


def _shown(names: list[str]) -> list[str]:
    """The names, the last of them a count where they are many."""
    more = len(names) - _SHOWN_COMBINATIONS
    return [*names[:_SHOWN_COMBINATIONS], f"{more} more"] if more > 1 else names
