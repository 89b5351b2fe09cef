"""Charges of one device laid over a reference: curves, differences, and the finding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np

from catalog.models import Device, Viewer
from comparisons.queries.charge_comparability import Axis, Named, Pair
from comparisons.queries.charge_differences import (
    Difference,
    differences,
    repeats_of,
    values_of_runs,
)
from comparisons.queries.charge_runs import labels_of, mains_of
from comparisons.queries.charge_words import level_finding, names_of, time_finding, warnings_on
from measurements.intake.columns import FloatArray
from measurements.kinds.instruments import listed
from measurements.metrics.curves import CurveDifference, compare_curves
from measurements.metrics.repeatability import Repeatability
from measurements.models import Run

__all__ = ["Axis", "Curve", "Overlay", "overlay"]

REFERENCE = "the reference"
_MOST_NAMED = 2


@dataclass(frozen=True, slots=True)
class Curve:
    """One charge. `x` is time [min] or, `by` level, lower ends of percents [%], `power_w` [W].

    Power is NaN in gaps. `against` compares it with the reference's over the stretch that both
    have; without, `not_compared` says why not. `no_times` says why no value is compared. Both
    are clauses, and empty for the reference itself.
    """

    run: Run
    label: str
    by: Axis
    x: FloatArray
    power_w: FloatArray
    start_level: float | None
    is_reference: bool
    differences: tuple[Difference, ...]
    against: CurveDifference | None
    not_compared: str = ""
    no_times: str = ""

    @property
    def mains(self) -> str:
        """The mains of its run in words; empty if nobody stated them."""
        return mains_of(self.run)

    @property
    def judged(self) -> tuple[Difference, ...]:
        """What was compared with the reference."""
        return tuple(item for item in self.differences if item.expanded is not None)

    @property
    def differing(self) -> tuple[Difference, ...]:
        """What differs from the reference."""
        return tuple(item for item in self.differences if item.differs)

    @property
    def verdict(self) -> str:
        """The finding of this view in a sentence or two."""
        if self.is_reference:
            return "The reference."
        by_time = time_finding(
            names_of(self.differing), judged=bool(self.judged), why_not=self.no_times
        )
        if self.by == "time":
            return f"{by_time[0].upper()}{by_time[1:]}."
        by_level = level_finding(self.against, why_not=self.not_compared)
        if self.no_times:
            return f"{by_time[0].upper()}{by_time[1:]}; {by_level}."
        return f"By time: {by_time}. {by_level[0].upper()}{by_level[1:]}."


@dataclass(frozen=True, slots=True)
class Overlay:
    """Everything that the page of an overlay shows.

    `repeats` has the repeatability of every quantity that was repeated, by metric key;
    `warnings` are sentences on what must not be compared, `notes` on what U contains.
    """

    device: Device
    by: Axis
    curves: tuple[Curve, ...]
    repeats: Mapping[str, Repeatability]
    warnings: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The finding in a sentence; only what was judged is called alike or different."""
        reference = next(curve for curve in self.curves if curve.is_reference).label
        others = [curve for curve in self.curves if not curve.is_reference]
        judged = [curve for curve in others if curve.judged]
        apart = [curve.label for curve in judged if curve.differing]
        if not judged:
            return f"{self.device.name} charged by {_few([c.label for c in self.curves])}"
        # Over battery level this is not what the curves show.
        how = ", judged by time" if self.by == "level" else ""
        if apart:
            verb = "charges" if len(apart) == 1 else "charge"
            return f"{_few(apart)} {verb} it measurably differently{how}"
        verb = "charges" if len(judged) == 1 else "charge"
        alike = _few([curve.label for curve in judged])
        return f"{alike} {verb} the {self.device.name} as {reference} does{how}"


def overlay(
    device: Device, run_ids: Sequence[UUID], *, reference: UUID, by: Axis, viewer: Viewer
) -> Overlay:
    """Lay charges of the device over that of `reference`, which is one of them.

    Four queries, whatever the number of runs.
    """
    found = (
        Run.objects.filter(pk__in=run_ids)
        .select_related("adapter__maker", "port", "unit")
        .defer("trace", "plot", "problems", "reading_notes")
        .in_bulk()
    )
    runs = [found[run_id] for run_id in run_ids]
    values = values_of_runs(run_ids)
    repeats = repeats_of(device, viewer=viewer)
    first = Named(found[reference], REFERENCE)
    curves, pairs = [], []
    for run, label in zip(runs, labels_of(runs), strict=True):
        itself = run.pk == reference
        pair = Pair(Named(run, label), first)
        reason = "" if itself else pair.why_no_curves(by)
        against = None if itself or reason else _distance(run, first.run, by=by)
        if not itself and not reason and against is None:
            reason = "the curves have no stretch in common"
        x, power = _axes(run, by=by)
        curves.append(
            Curve(
                run=run,
                label=label,
                by=by,
                x=x,
                power_w=power,
                start_level=pair.one.level("start_level"),
                is_reference=itself,
                differences=differences(
                    values[run.pk],
                    values[reference],
                    repeats=repeats,
                    judged=() if itself else pair.quantities,
                    starts=pair.starts,
                ),
                against=against,
                not_compared=reason,
                no_times="" if itself else pair.why_no_times,
            )
        )
        if not itself:
            pairs.append(pair)
    return Overlay(
        device,
        by,
        tuple(curves),
        repeats,
        warnings=warnings_on(
            pairs,
            levels={curve.label: curve.run.details["facts"].get("level_from") for curve in curves},
            repeated=bool(repeats),
            by=by,
        ),
        notes=tuple(pair.note for pair in pairs if pair.note),
    )


def _distance(run: Run, reference: Run, *, by: Axis) -> CurveDifference | None:
    """How far the curves lie apart.

    By level without the first whole percent of either, in which the power may still come up.
    """
    first = 1 if by == "level" else 0
    (x, y), (other_x, other_y) = _axes(run, by=by), _axes(reference, by=by)
    return compare_curves(x[first:], y[first:], other_x[first:], other_y[first:])


def _axes(run: Run, *, by: Axis) -> tuple[FloatArray, FloatArray]:
    """The curve that the kind keeps; empty for a run computed before it kept any."""
    curves = run.details["facts"].get("curves")
    if curves is None:
        return np.zeros(0), np.zeros(0)
    kept = curves["by_time" if by == "time" else "by_level"]
    power = np.array(kept["power_w"], dtype=np.float64)
    if by == "time":
        # A mean stands for the middle of its step.
        return (np.arange(len(power)) + 0.5) * kept["step_s"] / 60, power
    return np.array(kept["level_percent"], dtype=np.float64), power


def _few(labels: Sequence[str]) -> str:
    """The first few names, and how many more there are."""
    shown = list(labels[:_MOST_NAMED])
    more = len(labels) - len(shown)
    return listed([*shown, f"{more} more"] if more else shown)
