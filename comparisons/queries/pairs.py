"""Two metrics against each other: who has both, and whom nobody beats on both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import numpy as np

from catalog.models import Adapter, Viewer
from catalog.queries import as_one_parameter
from comparisons.queries.cohorts import Cohort, Filters, load_cohorts
from comparisons.ranking import FloatArray, IntArray, expanded
from measurements.kinds.base import Condition, Metric
from measurements.models import Source, Value

AXES = ("x", "y")


@dataclass(frozen=True, slots=True)
class Axis:
    """A metric under a condition."""

    metric: Metric
    condition: Condition

    @property
    def key(self) -> tuple[str, str]:
        """As cohorts are found by."""
        return self.metric.key, self.condition.key


@dataclass(frozen=True, slots=True)
class Pair:
    """The adapters that have a place in both cohorts, in the order of their place across.

    `x_positions` and `y_positions` say where each stands in the two cohorts; `on_front` which of
    them no other adapter beats on both.
    """

    x: Cohort
    y: Cohort
    adapter_ids: IntArray
    x_positions: IntArray
    y_positions: IntArray
    on_front: IntArray

    def __len__(self) -> int:
        return len(self.adapter_ids)

    @property
    def x_values(self) -> FloatArray:
        """Values across, in the unit of their metric."""
        return self.x.values[self.x_positions]

    @property
    def y_values(self) -> FloatArray:
        """Values up, in the unit of their metric."""
        return self.y.values[self.y_positions]


def pair(
    x: Axis,
    y: Axis,
    *,
    viewer: Viewer,
    filters: Filters | None = None,
    as_of: datetime | None = None,
    tables: bool = False,
) -> Pair:
    """Who has a comparable value on both axes; as many queries as two cohorts take."""
    cohorts = load_cohorts(
        [(axis.metric, axis.condition) for axis in (x, y)],
        viewer=viewer,
        filters=filters,
        as_of=as_of,
        tables=tables,
    )
    across, up = cohorts[x.key], cohorts[y.key]
    ids, x_positions, y_positions = np.intersect1d(
        across.adapter_ids, up.adapter_ids, assume_unique=True, return_indices=True
    )
    order = np.lexsort((y_positions, across.places.rank[x_positions]))
    x_positions, y_positions = x_positions[order], y_positions[order]
    on_front = front(
        _keys(across, x_positions),
        _keys(up, y_positions),
    )
    return Pair(
        x=across,
        y=up,
        adapter_ids=ids[order],
        x_positions=x_positions,
        y_positions=y_positions,
        on_front=on_front,
    )


def _keys(cohort: Cohort, positions: IntArray) -> FloatArray:
    values: FloatArray = cohort.values[positions]
    return values if cohort.metric.better == "lower" else -values


def front(x_keys: FloatArray, y_keys: FloatArray) -> IntArray:
    """Positions of the points that no other beats on both: the Pareto front.

    Parameters
    ----------
    x_keys, y_keys : ndarray of float
        The two coordinates, the smaller the better. [any unit each]

    Returns
    -------
    ndarray of int
        Rising positions of all points for which no other is at least as good on both and better
        on one; equal points stand or fall together. Sorting decides the time it takes.
    """
    if not len(x_keys):
        return np.zeros(0, dtype=np.int64)
    order = np.lexsort((y_keys, x_keys))
    x, y = x_keys[order], y_keys[order]
    is_first = np.ones(len(x), dtype=bool)
    is_first[1:] = np.diff(x) != 0
    # Of points level across the first is the best up; it has to beat all that lie before them.
    begins = np.maximum.accumulate(np.where(is_first, np.arange(len(x)), 0))
    best_before = np.concatenate(([np.inf], np.minimum.accumulate(y)[:-1]))
    unbeaten = (y == y[begins]) & (y[begins] < best_before[begins])
    return np.sort(order[unbeaten]).astype(np.int64)


@dataclass(frozen=True, slots=True)
class PairedSide:
    """A value on one axis, with U in the metric's unit and its rank in its own cohort."""

    value: float
    standard_uncertainty: float | None
    rank: int
    run_id: UUID | None
    table_id: UUID | None

    @property
    def expanded_uncertainty(self) -> float | None:
        """U at k = 2; None where a table did not state one."""
        return expanded(self.standard_uncertainty)

    @property
    def source(self) -> Source:
        """Where it comes from: a run, a table, or the catalogue."""
        if self.table_id is not None:
            return "table"
        return "catalogue" if self.run_id is None else "run"


@dataclass(frozen=True, slots=True)
class PairedRow:
    """One adapter on both axes; `number` is its place on the front, from 1, None off it."""

    adapter: Adapter
    x: PairedSide
    y: PairedSide
    number: int | None


def paired_rows(found: Pair, positions: Sequence[int]) -> list[PairedRow]:
    """The rows of some positions of a pair, in two queries."""
    numbers = {place: number for number, place in enumerate(found.on_front.tolist(), start=1)}
    adapters = {
        adapter.pk: adapter
        for adapter in Adapter.objects.select_related("maker").filter(
            pk__in=as_one_parameter(found.adapter_ids[list(positions)].tolist())
        )
    }
    sides = ((found.x, found.x_positions), (found.y, found.y_positions))
    ids = [int(cohort.value_ids[at[place]]) for place in positions for cohort, at in sides]
    origins = {
        pk: (run_id, table_id)
        for pk, run_id, table_id in Value.objects.filter(pk__in=as_one_parameter(ids)).values_list(
            "pk", "run_id", "table_id"
        )
    }

    def side(cohort: Cohort, position: int) -> PairedSide:
        uncertainty = float(cohort.uncertainties[position])
        run_id, table_id = origins[int(cohort.value_ids[position])]
        return PairedSide(
            value=float(cohort.values[position]),
            standard_uncertainty=None if np.isnan(uncertainty) else uncertainty,
            rank=int(cohort.places.rank[position]),
            run_id=run_id,
            table_id=table_id,
        )

    return [
        PairedRow(
            adapter=adapters[int(found.adapter_ids[place])],
            x=side(found.x, int(found.x_positions[place])),
            y=side(found.y, int(found.y_positions[place])),
            number=numbers.get(place),
        )
        for place in positions
    ]
