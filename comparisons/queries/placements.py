"""One adapter's places in the whole test history."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from uuid import UUID

from catalog.models import Adapter, Viewer
from comparisons.queries.cohorts import Cohort, load_cohorts, standing_values
from comparisons.ranking import expanded
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition, Metric
from measurements.models import Source, Value

# What a reader asks first: standby, efficiency, heat. Within a metric, 230 V comes first.
HEADLINES = ("no-load-power", "average-efficiency", "thermal-headroom")

# Words for a place, by the share of the cohort that is beaten [%]; common practice.
PLACE_WORDS = ((90.0, "leading"), (65.0, "upper"), (35.0, "middle"), (10.0, "lower"))
SMALL_COHORT = 8


@dataclass(frozen=True, slots=True)
class Placement:
    """A value and its place. `apart` is the reason where it has none; then `cohort` is None."""

    metric: Metric
    condition: Condition
    value: float
    standard_uncertainty: float | None
    method: str
    run_id: UUID | None
    source: Source
    table_id: UUID | None
    apart: str
    cohort: Cohort | None
    rank: int | None
    percentile: float | None
    near_tie_count: int

    @property
    def count(self) -> int:
        """How many adapters the place is among."""
        return 0 if self.cohort is None else len(self.cohort)

    @property
    def expanded_uncertainty(self) -> float | None:
        """U at k = 2; None where a table did not state one."""
        return expanded(self.standard_uncertainty)

    @property
    def is_headline(self) -> bool:
        """Whether it is of a metric that a reader asks first."""
        return self.metric.key in HEADLINES

    @property
    def place_word(self) -> str:
        """Leading, upper, middle, lower or trailing, by stated shares; "" without a place."""
        if self.percentile is None:
            return ""
        for least, word in PLACE_WORDS:
            if self.percentile >= least:
                return word
        return "trailing"

    @property
    def in_words(self) -> str:
        """The place as a sentence or two."""
        if self.percentile is None:
            return f"Not ranked: {self.apart}" if self.apart else "Not ranked."
        if self.count == 1:
            what = "with a result" if self.source == "table" else "measured"
            return f"The only adapter {what} under this condition."
        words = (
            f"Better than {self.percentile:.0f} % of {self.count}, rank {self.rank}: "
            f"{self.place_word} part."
        )
        if self.near_tie_count:
            others = "1 other" if self.near_tie_count == 1 else f"{self.near_tie_count} others"
            words += f" Not to be told apart from {others}."
        if self.standard_uncertainty is None:
            words += " Its uncertainty is not stated, so near ties are not known."
        if self.count < SMALL_COHORT:
            words += " Few adapters have been measured so far."
        return words


def placements(
    adapter: Adapter, *, viewer: Viewer, as_of: datetime | None = None, tables: bool = False
) -> tuple[Placement, ...]:
    """Every place of an adapter, headlines first, in two queries.

    Values that are not comparable are listed with their reason and no place; metrics that
    have no better direction are left out.
    """
    metrics = all_metrics()
    own = [
        value
        for value in standing_values(viewer=viewer, as_of=as_of, tables=tables).filter(
            adapter=adapter
        )
        if value.metric in metrics and metrics[value.metric].ranked and metrics[value.metric].better
    ]
    cohorts = load_cohorts(
        [(metrics[value.metric], value.condition) for value in own if not value.apart],
        viewer=viewer,
        as_of=as_of,
        tables=tables,
    )
    found = [_placement(value, metrics[value.metric], cohorts) for value in own]
    return tuple(sorted(found, key=place_in_order))


def place_in_order(item: Placement) -> tuple[int | float | str, ...]:
    """Where a placement stands among those of its adapter; no two of them share it.

    A metric and condition may have a value that is comparable, one that is set apart and one of
    a table.
    """
    return (
        _order()[item.metric.key],
        int(item.condition.line != "high"),
        len(item.condition.as_json()),
        -(item.condition.output_v or 0.0),
        item.condition.key,
        item.source,
        item.apart,
    )


@cache
def _order() -> dict[str, int]:
    return {key: place for place, key in enumerate(dict.fromkeys((*HEADLINES, *all_metrics())))}


def placement_in(
    cohort: Cohort,
    adapter: Adapter,
    *,
    viewer: Viewer,
    as_of: datetime | None = None,
    tables: bool = False,
) -> Placement | None:
    """The place of one adapter in a cohort at hand, in one query; None if it was not tested.

    A value that does not belong to the cohort, because it is not comparable or because the
    cohort was narrowed, comes without a place.
    """
    value = (
        standing_values(viewer=viewer, as_of=as_of, tables=tables)
        .filter(adapter=adapter, metric=cohort.metric.key, condition_key=cohort.condition.key)
        .order_by("apart")  # a comparable value before one that is set apart
        .first()
    )
    if value is None:
        return None
    return _placement(value, cohort.metric, {(value.metric, value.condition_key): cohort})


def _placement(value: Value, metric: Metric, cohorts: dict[tuple[str, str], Cohort]) -> Placement:
    cohort = None if value.apart else cohorts.get((value.metric, value.condition_key))
    position = None if cohort is None else cohort.position_of(value.adapter_id)
    placed = cohort is not None and position is not None
    return Placement(
        metric=metric,
        condition=value.condition,
        value=value.value,
        standard_uncertainty=value.stated_uncertainty,
        method=value.method,
        run_id=value.run_id,
        source=value.source,
        table_id=value.table_id,
        apart=value.apart,
        cohort=cohort if placed else None,
        rank=int(cohort.places.rank[position]) if cohort and position is not None else None,
        percentile=(
            float(cohort.places.percentile[position]) if cohort and position is not None else None
        ),
        near_tie_count=(
            len(cohort.near_ties_of(position)) if cohort and position is not None else 0
        ),
    )
