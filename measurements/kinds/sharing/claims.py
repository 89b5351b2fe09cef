"""What the label promises for ports in use together, against what was measured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from measurements.kinds.base import AdapterFacts, SharingClaim
from measurements.kinds.port_labels import port_label
from measurements.kinds.sharing.combinations import Combination, Reading
from measurements.kinds.sharing.labels import catalogue_labels
from measurements.metrics.decision import decide

ClaimOutcome = Literal["met", "not met", "undecided", "not tested"]


@dataclass(frozen=True, slots=True)
class ClaimResult:
    """A claim and one combination in which it was tried, or none.

    `tested` is the combination in its plug order and `reading` the port's reading in it; both
    are None when no row of the file belongs to the claim.
    """

    claim: SharingClaim
    outcome: ClaimOutcome
    tested: Combination | None = None
    reading: Reading | None = None


def claim_results(
    adapter: AdapterFacts, combinations: Sequence[Combination]
) -> tuple[ClaimResult, ...]:
    """Every claim of the label, once for each tested order of its ports.

    A claim holds for every order of plugging in, unless the label makes claims for the same
    ports in more than one order: then each is for its own order.
    """
    orders: defaultdict[frozenset[str], set[tuple[str, ...]]] = defaultdict(set)
    for claim in adapter.sharing_claims:
        labels = catalogue_labels(claim.combination, ports=adapter.ports)
        if labels is not None:
            orders[frozenset(labels)].add(labels)
    return tuple(
        result
        for claim in adapter.sharing_claims
        for result in _results(claim, adapter, combinations=combinations, orders=orders)
    )


def _results(
    claim: SharingClaim,
    adapter: AdapterFacts,
    *,
    combinations: Sequence[Combination],
    orders: defaultdict[frozenset[str], set[tuple[str, ...]]],
) -> tuple[ClaimResult, ...]:
    labels = catalogue_labels(claim.combination, ports=adapter.ports)
    port = port_label(claim.port, ports=adapter.ports)
    if labels is None or port is None:
        return (ClaimResult(claim, "not tested"),)
    in_order = len(orders[frozenset(labels)]) > 1
    tried = tuple(
        _judged(claim, combination, reading=combination.readings[port])
        for combination in combinations
        if port in combination.readings and _same(labels, combination.ports, in_order=in_order)
    )
    return tried or (ClaimResult(claim, "not tested"),)


def _same(claimed: tuple[str, ...], tested: tuple[str, ...], *, in_order: bool) -> bool:
    return claimed == tested if in_order else set(claimed) == set(tested)


def _judged(claim: SharingClaim, combination: Combination, *, reading: Reading) -> ClaimResult:
    decision = decide(
        reading.power.value,
        standard_uncertainty=reading.power.standard_uncertainty,
        limit=claim.power_w,
        sense="at least",
    )
    outcomes: dict[str, ClaimOutcome] = {"pass": "met", "fail": "not met"}
    return ClaimResult(
        claim=claim,
        outcome=outcomes.get(decision.outcome, "undecided"),
        tested=combination,
        reading=reading,
    )


def broken(results: Sequence[ClaimResult]) -> Iterator[str]:
    """A phrase for every claim that was not met: which port of which combination, and by what."""
    for result in results:
        if result.outcome == "not met" and result.tested and result.reading:
            yield (
                f"{result.reading.port} gave {result.reading.power.value:.1f} W of "
                f"{result.claim.power_w:g} W in {result.tested.name}"
            )
