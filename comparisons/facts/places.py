"""Where a value stands, as a sentence: rank, part, near ties, and a superlative where it is due.

A word for a part follows from the share of the cohort that is beaten
(`comparisons.queries.placements.PLACE_WORDS`); from `SMALL_COHORT` adapters on.
"""

from __future__ import annotations

import math

from comparisons.facts.words import NBSP, ordinal
from comparisons.queries.cohorts import Cohort
from comparisons.queries.placements import PLACE_WORDS, SMALL_COHORT, Placement
from comparisons.ranking import clear_best, differs

BEST_WORDS = {"lower": "lowest", "higher": "highest"}

NOTE_ON_UNCERTAINTY = (
    f"± is the expanded uncertainty U, k{NBSP}={NBSP}2. A superlative stands only where the "
    "difference to every other is larger than the combined U."
)
NOTE_ON_WORDS = (
    "A place is among the adapters measured under the same condition on this bench, each counted "
    "once. "
    + ", ".join(
        f"“{word}” means better than at least {least:g}{NBSP}% of them"
        for least, word in PLACE_WORDS
    )
    + f", “trailing” better than fewer. Among fewer than {SMALL_COHORT} there is no such word."
)


def place_sentence(placement: Placement) -> str:
    """The place of a value in a sentence, or why it has none."""
    if placement.rank is None or placement.cohort is None:
        return f"Not ranked: {placement.apart}" if placement.apart else "Not ranked."
    if placement.count == 1:
        return "No other adapter has a comparable result under this condition."
    return f"That is {_rank(placement)}{_standing(placement, placement.cohort)}."


def is_small(placement: Placement) -> bool:
    """Whether its cohort is too small for a word."""
    return placement.cohort is not None and placement.count < SMALL_COHORT


def _rank(placement: Placement) -> str:
    rank = ordinal(placement.rank or 0)
    if is_small(placement):
        return f"{rank} of only {placement.count} so far"
    return f"{rank} of {placement.count}, in the {placement.place_word} part"


def _standing(placement: Placement, cohort: Cohort) -> str:
    """Whether others can be told from it, as a clause behind the rank."""
    at_top = _at_top(placement, cohort)
    best = BEST_WORDS[placement.metric.better]
    if placement.rank == 1 and at_top == 1:
        known = clear_best(cohort.values, cohort.uncertainties, better=cohort.metric.better)
        if known is not None:
            return f": the {best}, by more than the uncertainty"
        return f"; whether it is the {best} cannot be said, as not every uncertainty is stated"
    if at_top > 1:
        return f"; it is among the {at_top} that cannot be told apart at the top"
    ties = placement.near_tie_count
    if ties:
        return f"; it cannot be told apart from {ties} {'other' if ties == 1 else 'others'}"
    return ""


def _at_top(placement: Placement, cohort: Cohort) -> int:
    """How many cannot be told from the best, if this value is the best or one of them; else 0."""
    group = len(cohort.near_ties_of(0)) + 1
    if placement.rank == 1:
        return group
    best, own = float(cohort.uncertainties[0]), placement.standard_uncertainty
    if own is None or math.isnan(best):
        return 0
    apart = differs(placement.value, own, other=float(cohort.values[0]), other_uncertainty=best)
    return 0 if apart else group
