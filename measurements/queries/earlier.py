"""A result that is not handed in yet, beside what is known of the same unit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from catalog.models import Adapter, Viewer
from measurements.kinds.base import Condition, Kind, Metric
from measurements.models import Run, Value

SHOWN_RUNS = 3


@dataclass(frozen=True, slots=True)
class Prospect:
    """A value that would result, beside the one that stands and those of earlier runs.

    `earlier` runs parallel to `Prospects.runs`.
    """

    metric: Metric
    condition: Condition
    value: float
    standard_uncertainty: float
    apart: str
    standing: Value | None
    earlier: tuple[Value | None, ...]


@dataclass(frozen=True, slots=True)
class Prospects:
    """All values that would result, and the runs that they stand beside, newest first."""

    runs: tuple[Run, ...]
    lines: tuple[Prospect, ...]


def prospects(
    found: Iterable[dict[str, object]],
    *,
    kind: Kind,
    adapter: Adapter,
    serial: str,
    viewer: Viewer,
) -> Prospects:
    """Values of a preview beside this unit's newest runs of the kind. Three queries."""
    runs = tuple(
        Run.objects.visible_to(viewer)
        .filter(adapter=adapter, kind=kind.slug, unit__serial=serial, state=Run.State.READY)
        .exclude(standing=Run.Standing.WITHDRAWN)
        .defer("trace", "details", "plot")
        .order_by("-id")[:SHOWN_RUNS]
    )
    of_runs: dict[tuple[object, str, str], Value] = {}
    for row in Value.objects.under_present_conditions().filter(run__in=runs).order_by("pk"):
        of_runs[row.run_id, row.metric, row.condition_key] = row
    standing = {
        (row.metric, row.condition_key): row
        for row in Value.objects.visible_to(viewer)
        .current()
        .filter(adapter=adapter, table=None, metric__in=[item.key for item in kind.metrics])
    }
    metrics = {metric.key: metric for metric in kind.metrics}
    lines = []
    for item in found:
        condition = Condition(**item["condition"])  # type: ignore[arg-type]  # as_json wrote it
        key = (str(item["metric"]), condition.key)
        lines.append(
            Prospect(
                metric=metrics[key[0]],
                condition=condition,
                value=float(item["value"]),  # type: ignore[arg-type]
                standard_uncertainty=float(item["standard_uncertainty"]),  # type: ignore[arg-type]
                apart=str(item["apart"]),
                standing=standing.get(key),
                earlier=tuple(of_runs.get((run.pk, *key)) for run in runs),
            )
        )
    return Prospects(runs=runs, lines=tuple(lines))
