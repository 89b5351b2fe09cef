"""Two adapters side by side: what was measured of both under the same condition."""

from __future__ import annotations

import math
from dataclasses import dataclass

from catalog.models import Adapter, Viewer
from comparisons.queries.placements import Placement, placements
from comparisons.ranking import differs


@dataclass(frozen=True, slots=True)
class Pair:
    """A metric and condition under which both have a comparable value.

    `better` is 0 for the first, 1 for the second, None where they cannot be told apart, or where
    an uncertainty is not stated (`is_known` is then False).
    """

    first: Placement
    second: Placement
    better: int | None
    is_known: bool


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Two adapters, their common metrics, and how many values only one of them has."""

    first: Adapter
    second: Adapter
    pairs: tuple[Pair, ...]
    only_first: int
    only_second: int

    @property
    def counts(self) -> tuple[int, int, int]:
        """How often the first is better, the second is, and neither can be told."""
        told = [pair.better for pair in self.pairs]
        return told.count(0), told.count(1), told.count(None)

    @property
    def unknown(self) -> int:
        """In how many nobody can tell, because an uncertainty is not stated."""
        return sum(not pair.is_known for pair in self.pairs)


def side_by_side(
    slug: str, other: str, *, viewer: Viewer, tables: bool = False
) -> SideBySide | None:
    """Two adapters side by side; None if this viewer may not know of one, or they are the same."""
    visible = Adapter.objects.visible_to(viewer).select_related("maker")
    found = {adapter.slug: adapter for adapter in visible.filter(slug__in=(slug, other))}
    if len(found) < 2:
        return None
    first, second = (
        {
            (item.metric.key, item.condition.key): item
            for item in placements(found[name], viewer=viewer, tables=tables)
            if not item.apart
        }
        for name in (slug, other)
    )
    pairs = tuple(_pair(item, second[key]) for key, item in first.items() if key in second)
    return SideBySide(
        first=found[slug],
        second=found[other],
        pairs=pairs,
        only_first=len(first) - len(pairs),
        only_second=len(second) - len(pairs),
    )


def _pair(first: Placement, second: Placement) -> Pair:
    own, others = (
        math.nan if item.standard_uncertainty is None else item.standard_uncertainty
        for item in (first, second)
    )
    is_known = not (math.isnan(own) or math.isnan(others))
    better = None
    if differs(first.value, own, other=second.value, other_uncertainty=others):
        lower_is_better = first.metric.better == "lower"
        better = 0 if (first.value < second.value) == lower_is_better else 1
    return Pair(first, second, better, is_known)
