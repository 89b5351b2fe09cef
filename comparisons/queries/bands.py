"""The efficiency band: the highest published tier that an adapter passes on both counts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef

from catalog.models import Adapter, Viewer
from comparisons.queries.cohorts import standing_values
from measurements.models import Verdict

# From the most to the least demanding as a whole; single points can be ordered otherwise.
TIERS = (
    ("coc-v5-tier-2", "Code of Conduct v5, Tier 2"),
    ("coc-v5-tier-1", "Code of Conduct v5, Tier 1"),
    ("eu-2019-1782", "EU 2019/1782"),
    ("level-vi", "Level VI"),
)
SHORT_TITLES = {
    "coc-v5-tier-2": "CoC v5 Tier 2",
    "coc-v5-tier-1": "CoC v5 Tier 1",
    "eu-2019-1782": "EU 2019/1782",
    "level-vi": "Level VI",
}
COUNTS = ("no-load-power", "average-efficiency")

# At its lowest voltage an adaptive supply may be judged by steps of current instead.
STANDS_FOR = {"adaptive-efficiency": "average-efficiency"}


@dataclass(frozen=True, slots=True)
class Band:
    """The tier of an adapter. `scheme` is "" when it passes none; `title` says so in words.

    `borderline` names tiers above it that are undecided, not failed.
    """

    scheme: str
    title: str
    borderline: tuple[str, ...] = ()

    @property
    def short(self) -> str:
        """The tier in as few words as stand in a table."""
        return SHORT_TITLES.get(self.scheme, "none passed")


def bands(
    adapters: Iterable[Adapter], *, viewer: Viewer, as_of: datetime | None = None
) -> dict[int, Band]:
    """The band of every adapter that has both counts, by adapter id, in one query.

    Judged at the mains voltage that each scheme is about where there is such a run (230 V for
    the European tiers, 115 V for Level VI), else at the one measured. Every output voltage
    counts. Only verdicts on values that stand are used.
    """
    # From the few adapters to their runs' verdicts, and for each whether its value stands. Any
    # other condition on verdicts or values leads SQLite to read all of the site's by its index.
    stands = standing_values(viewer=viewer, as_of=as_of).filter(
        run=OuterRef("run"),
        metric=OuterRef("quantity"),
        condition_key=OuterRef("condition_key"),
        metric__in=(*COUNTS, *STANDS_FOR),
        apart="",
    )
    rows = (
        Verdict.objects.filter(
            Exists(stands), run__adapter__in=[adapter.pk for adapter in adapters]
        )
        .values_list("run__adapter", "scheme", "quantity", "run__line", "outcome")
        .order_by()
    )
    outcomes: dict[int, dict[tuple[str, str, str], set[str]]] = {}
    for adapter_id, scheme, quantity, line, outcome in rows:
        key = (scheme, STANDS_FOR.get(quantity, quantity), line)
        outcomes.setdefault(adapter_id, {}).setdefault(key, set()).add(outcome)
    return {
        adapter_id: band
        for adapter_id, found in outcomes.items()
        if (band := _band(found)) is not None
    }


def _band(found: dict[tuple[str, str, str], set[str]]) -> Band | None:
    """The highest tier whose outcomes are all passes; None unless both counts were judged."""
    borderline: list[str] = []
    judged = False
    for scheme, title in TIERS:
        home, abroad = ("low", "high") if scheme == "level-vi" else ("high", "low")
        seen: set[str] = set()
        for quantity in COUNTS:
            outcomes = found.get((scheme, quantity, home)) or found.get((scheme, quantity, abroad))
            if outcomes is None:
                break
            seen |= outcomes
        else:
            judged = True
            if seen == {"pass"}:
                return Band(scheme, title, tuple(borderline))
            if "fail" not in seen:
                borderline.append(title)
    if not judged:
        return None
    return Band("", "passes no published tier", tuple(borderline))
