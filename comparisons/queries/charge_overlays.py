"""Charges of one device laid over a reference: curves, differences, and the finding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal
from uuid import UUID

import numpy as np

from catalog.models import Device, Viewer
from comparisons.queries.charge_differences import (
    OF_WHOLE_CHARGES,
    QUANTITIES,
    Difference,
    differences,
    repeats_of,
    values_of_runs,
)
from comparisons.queries.charge_runs import labels_of, mains_of
from measurements.intake.columns import FloatArray
from measurements.kinds.instruments import listed
from measurements.metrics.curves import CurveDifference, compare_curves
from measurements.metrics.repeatability import Repeatability
from measurements.models import Run

Axis = Literal["time", "level"]

# Levels nearer than this are the same for a reader. [%]
SAME_LEVEL = 1.0
_MOST_NAMED = 2


@dataclass(frozen=True, slots=True)
class Curve:
    """One charge. `x` is time [min] or level [%], `power_w` [W], NaN in gaps.

    `against` compares its power with the reference's over the stretch that both have; without,
    `not_compared` says why not, but for the reference itself.
    """

    run: Run
    label: str
    x: FloatArray
    power_w: FloatArray
    start_level: float | None
    is_reference: bool
    differences: tuple[Difference, ...]
    against: CurveDifference | None
    not_compared: str = ""

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
        """The finding in a sentence."""
        if self.is_reference:
            return "The reference."
        if not self.judged:
            return "Nothing of it can be compared with the reference."
        if not self.differing:
            return "It does not differ from the reference by more than repeating it would."
        return f"It differs from the reference in {_names(self.differing)}."


@dataclass(frozen=True, slots=True)
class Overlay:
    """Everything that the page of an overlay shows.

    `repeats` has the repeatability of every quantity that was repeated, by metric key;
    `warnings` are sentences on what must not be compared.
    """

    device: Device
    by: Axis
    curves: tuple[Curve, ...]
    repeats: Mapping[str, Repeatability]
    warnings: tuple[str, ...]

    @property
    def x_unit(self) -> str:
        """Unit of what the curves are drawn over."""
        return "min" if self.by == "time" else "%"

    @property
    def title(self) -> str:
        """The finding in a sentence; only what was judged is called alike or different."""
        reference = next(curve for curve in self.curves if curve.is_reference).label
        others = [curve for curve in self.curves if not curve.is_reference]
        judged = [curve for curve in others if curve.judged]
        apart = [curve.label for curve in judged if curve.differing]
        if not judged:
            return f"{self.device.name} charged by {_few([c.label for c in self.curves])}"
        if apart:
            verb = "charges" if len(apart) == 1 else "charge"
            return f"{_few(apart)} {verb} it measurably differently"
        verb = "charges" if len(judged) == 1 else "charge"
        alike = _few([curve.label for curve in judged])
        return f"{alike} {verb} the {self.device.name} as {reference} does"


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
    first = found[reference]
    first_axes = _axes(first, by=by)
    curves = []
    for run, label in zip(runs, labels_of(runs), strict=True):
        x, power = _axes(run, by=by)
        itself = run.pk == reference
        reason = "" if itself else _not_comparable(run, first, by=by)
        against = None if itself or reason else compare_curves(x, power, *first_axes)
        if not itself and not reason and against is None:
            reason = "The curves have no stretch in common."
        curves.append(
            Curve(
                run=run,
                label=label,
                x=x,
                power_w=power,
                start_level=_level(run, "start_level"),
                is_reference=itself,
                differences=differences(
                    values[run.pk],
                    values[reference],
                    repeats=repeats,
                    judged=() if itself else _comparable_quantities(run, first),
                ),
                against=against,
                not_compared=reason,
            )
        )
    return Overlay(device, by, tuple(curves), repeats, _warnings(curves, repeats=repeats, by=by))


def _facts(run: Run) -> Mapping[str, Any]:
    facts: Mapping[str, Any] = run.details["facts"]
    return facts


def _axes(run: Run, *, by: Axis) -> tuple[FloatArray, FloatArray]:
    """The curve that the kind keeps; empty for a run computed before it kept any."""
    curves = _facts(run).get("curves")
    if curves is None:
        return np.zeros(0), np.zeros(0)
    kept = curves["by_time" if by == "time" else "by_level"]
    power = np.array(kept["power_w"], dtype=np.float64)
    if by == "time":
        # A mean stands for the middle of its step.
        return (np.arange(len(power)) + 0.5) * kept["step_s"] / 60, power
    return np.array(kept["level_percent"], dtype=np.float64), power


def _level(run: Run, name: Literal["start_level", "end_level"]) -> float | None:
    level = _facts(run).get(name)
    return None if level is None else float(level)


def _alike(one: Run, other: Run, name: Literal["start_level", "end_level"]) -> bool:
    level, second = _level(one, name), _level(other, name)
    return level is not None and second is not None and abs(level - second) <= SAME_LEVEL


def _paused(run: Run) -> bool:
    """Whether the log paused before the device was full."""
    full = _facts(run)["milestones"].get("100")
    return any(full is None or start < full for start, _ in _facts(run)["gaps"])


def _comparable_quantities(run: Run, reference: Run) -> tuple[str, ...]:
    if not _alike(run, reference, "start_level"):
        return ()
    whole = _alike(run, reference, "end_level") and not (_paused(run) or _paused(reference))
    return tuple(key for key in QUANTITIES if whole or key not in OF_WHOLE_CHARGES)


def _not_comparable(run: Run, reference: Run, *, by: Axis) -> str:
    """Why no distance between the curves is given, as a sentence; empty if one can be."""
    if any("curves" not in _facts(item) for item in (run, reference)):
        return "One of them was computed before curves were kept; compute it again."
    if by == "time":
        alike = _alike(run, reference, "start_level")
        return "" if alike else "They did not start at the same known level."
    sources = {_facts(item).get("level_from") for item in (run, reference)}
    if None in sources:
        return "One of them has no battery level."
    return "" if sources == {"battery"} else "The level of one of them is inferred."


def _warnings(
    curves: Sequence[Curve], *, repeats: Mapping[str, Repeatability], by: Axis
) -> tuple[str, ...]:
    reference = next(curve for curve in curves if curve.is_reference)
    found = []
    for curve in curves:
        if curve.is_reference:
            continue
        if curve.start_level is None or reference.start_level is None:
            found.append(
                f"The battery level of {curve.label} or of the reference was not recorded at the "
                "start: their times and energies are not compared."
            )
        elif abs(curve.start_level - reference.start_level) > SAME_LEVEL:
            found.append(
                f"{curve.label} started at {curve.start_level:g} % and the reference at "
                f"{reference.start_level:g} %: their times and energies are not compared"
                + ("." if by == "level" else "; look at them by battery level instead.")
            )
        elif not set(OF_WHOLE_CHARGES) & {item.metric.key for item in curve.judged}:
            found.append(
                f"The log of {curve.label} or of the reference paused during the charge, or they "
                "ended at different levels: energy and mean power are not compared."
            )
    if by == "level" and (inferred := _inferred_over_measured(curves)):
        found.append(
            f"The battery level of {listed(inferred)} is inferred from the charge and counts as "
            "0 % at the start; the others’ was told by the device. Where the battery was not "
            "empty the curves are shifted and stretched against each other."
        )
    if not repeats:
        found.append(
            "No charge of this device was repeated, so that the bench's repeatability is not "
            "known: differences are judged by the uncertainty of measurement alone."
        )
    return tuple(found)


def _inferred_over_measured(curves: Sequence[Curve]) -> list[str]:
    """Curves with an inferred level, if any other has one that the device told."""
    sources = {curve.label: _facts(curve.run).get("level_from") for curve in curves}
    if "battery" not in sources.values():
        return []
    return [label for label, source in sources.items() if source == "charge"]


def _names(items: Sequence[Difference]) -> str:
    return listed(item.metric.title[0].lower() + item.metric.title[1:] for item in items)


def _few(labels: Sequence[str]) -> str:
    """The first few names, and how many more there are."""
    shown = list(labels[:_MOST_NAMED])
    more = len(labels) - len(shown)
    return listed([*shown, f"{more} more"] if more else shown)
