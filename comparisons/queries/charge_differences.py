"""What differs between charges of one device by more than repeating them would give."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Exists, OuterRef

from catalog.models import Device, Viewer
from comparisons.queries.charge_starts import Start, start_effects
from measurements.kinds import all_metrics
from measurements.kinds.base import Metric
from measurements.metrics.repeatability import Repeatability, repeatability
from measurements.metrics.simultaneous import simultaneous_factor
from measurements.models import Run, Value

MILESTONES = ("charge-to-20", "charge-to-50", "charge-to-80", "charge-to-full")
# These say nothing of a charge that was cut short or whose log paused.
OF_WHOLE_CHARGES = ("charge-energy", "charge-mean-power")
QUANTITIES = (*MILESTONES, *OF_WHOLE_CHARGES, "charge-peak-power")


@dataclass(frozen=True, slots=True)
class Difference:
    """A value beside the reference's. `expanded` is U of the difference.

    U covers about 95 % for all judged quantities of the curve together. It is None when there is
    no difference to judge; `differs` then is False.
    """

    metric: Metric
    value: float | None
    difference: float | None
    expanded: float | None

    @property
    def differs(self) -> bool:
        """Whether the difference exceeds what repeating and measuring alone would give."""
        return (
            self.difference is not None
            and self.expanded is not None
            and abs(self.difference) > self.expanded
        )


def values_of_runs(run_ids: Collection[UUID]) -> dict[UUID, dict[str, Value]]:
    """The latest value of every quantity of each run, whether it stands or not. Two queries.

    Those in whose place another run's value came are among them; one that the run's file gave
    by an earlier method only is not.
    """
    successors = Value.objects.filter(
        adapter=OuterRef("adapter"),
        metric=OuterRef("metric"),
        condition_key=OuterRef("condition_key"),
        current_from=OuterRef("current_until"),
    ).exclude(run=OuterRef("run"))
    rows = Value.objects.filter(run__in=run_ids, metric__in=QUANTITIES).order_by("pk")
    replaced = set(rows.filter(Exists(successors)).values_list("pk", flat=True))
    found: dict[UUID, dict[str, Value]] = {run_id: {} for run_id in run_ids}
    for row in rows:
        if row.run_id is None:
            continue
        if row.current_until is None or row.pk in replaced:
            found[row.run_id][row.metric] = row
        else:
            found[row.run_id].pop(row.metric, None)
    return found


def repeats_of(device: Device, *, viewer: Viewer) -> dict[str, Repeatability]:
    """How well the bench repeats a charge of the device, by metric. One query.

    Repeats are charges of one unit at one port on one mains line. Runs that a later one
    superseded count: they are as good, only older.
    """
    rows = (
        Value.objects.visible_to(viewer)
        .filter(
            metric__in=QUANTITIES,
            device=device.slug,
            apart="",
            run__kind="charge",
            run__state=Run.State.READY,
            run__standing__in=[Run.Standing.ACCEPTED, Run.Standing.SUPERSEDED],
        )
        .order_by("pk")
        .values_list("metric", "run_id", "run__unit_id", "run__port_id", "run__line", "value")
    )
    latest = {(metric, run): (tuple(place), value) for metric, run, *place, value in rows}
    groups: dict[str, dict[tuple[object, ...], list[float]]] = {}
    for (metric, _), (place, value) in latest.items():
        groups.setdefault(metric, {}).setdefault(place, []).append(value)
    found = {
        metric: repeatability([values for values in places.values() if len(values) > 1])
        for metric, places in groups.items()
    }
    return {metric: spread for metric, spread in found.items() if spread is not None}


def differences(
    values: Mapping[str, Value],
    reference: Mapping[str, Value],
    *,
    repeats: Mapping[str, Repeatability],
    judged: Sequence[str],
    starts: tuple[Start, Start] | None = None,
) -> tuple[Difference, ...]:
    """Every quantity of a curve; those of `judged` that both have with their difference.

    `starts` are those of both charges, for what they do to quantities of the whole charge.
    """
    both = [key for key in judged if key in values and key in reference]
    effects = {} if starts is None else start_effects(starts, (_plain(values), _plain(reference)))
    found = []
    for key in QUANTITIES:
        row = values.get(key)
        difference = expanded = None
        if row is not None and key in both:
            other = reference[key]
            difference = row.value - other.value
            expanded = _expanded(
                (row.standard_uncertainty, other.standard_uncertainty, effects.get(key, 0.0)),
                repeats=repeats.get(key),
                comparisons=len(both),
            )
        found.append(
            Difference(all_metrics()[key], None if row is None else row.value, difference, expanded)
        )
    return tuple(found)


def _plain(values: Mapping[str, Value]) -> dict[str, float]:
    return {key: row.value for key, row in values.items()}


def _expanded(parts: Sequence[float], *, repeats: Repeatability | None, comparisons: int) -> float:
    """U of a difference of two values: `parts` are standard uncertainties of its measurement.

    Both were charged once, so that the scatter of repeats enters twice; with few repeats the
    coverage factor grows (JCGM 100:2008, G.4), and with the number of quantities judged.
    """
    measured = sum(part**2 for part in parts)
    if repeats is None or repeats.deviation == 0:
        return simultaneous_factor(math.inf, comparisons=comparisons) * math.sqrt(measured)
    scatter = 2 * repeats.deviation**2
    combined = measured + scatter
    # Welch and Satterthwaite, with instruments known well enough to have infinite degrees.
    degrees = repeats.degrees_of_freedom * (combined / scatter) ** 2
    return simultaneous_factor(degrees, comparisons=comparisons) * math.sqrt(combined)
