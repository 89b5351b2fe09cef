"""Charges of one device by several adapters, laid over a reference."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal
from uuid import UUID

import numpy as np

from catalog.models import Adapter, Device, Viewer
from measurements.intake.columns import FloatArray
from measurements.kinds import all_metrics
from measurements.kinds.base import Metric
from measurements.metrics.curves import CurveDifference, by_level, compare_curves
from measurements.metrics.decision import coverage_factor
from measurements.metrics.repeatability import Repeatability, repeatability
from measurements.models import Run, Value

Axis = Literal["time", "level"]

MILESTONES = ("charge-to-20", "charge-to-50", "charge-to-80", "charge-to-full")
QUANTITIES = (*MILESTONES, "charge-energy", "charge-mean-power", "charge-peak-power")

# Start levels nearer than this are the same for a reader. [%]
SAME_START = 1.0


@dataclass(frozen=True, slots=True)
class Difference:
    """A value beside the reference's. `expanded` is U of the difference, at k = 2.

    `expanded` is None when there is no difference to judge; `differs` then is False.
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


@dataclass(frozen=True, slots=True)
class Curve:
    """One adapter's charge. `x` is time [min] or level [%], `power_w` [W], NaN in gaps.

    `against` compares its power with the reference's over the stretch that both have, None for
    the reference itself or without such a stretch.
    """

    adapter: Adapter
    run_id: UUID
    fence: int
    x: FloatArray
    power_w: FloatArray
    start_level: float | None
    is_reference: bool
    differences: tuple[Difference, ...]
    against: CurveDifference | None

    @property
    def differing(self) -> tuple[Difference, ...]:
        """What differs from the reference."""
        return tuple(item for item in self.differences if item.differs)

    @property
    def verdict(self) -> str:
        """The finding in a sentence."""
        if self.is_reference:
            return "The reference."
        judged = [item for item in self.differences if item.expanded is not None]
        if not judged:
            return "Nothing of it can be compared with the reference."
        if not self.differing:
            return "It does not differ from the reference by more than repeating it would."
        names = ", ".join(item.metric.title.lower() for item in self.differing)
        return f"It differs from the reference in {names}."


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
        """The finding in a sentence."""
        reference = next(curve for curve in self.curves if curve.is_reference)
        others = [curve for curve in self.curves if not curve.is_reference]
        if not others:
            return f"{self.device.name} charged by {reference.adapter}"
        apart = [curve for curve in others if curve.differing]
        if not apart:
            same = "It charges" if len(others) == 1 else "They charge"
            return f"{same} the {self.device.name} as {reference.adapter} does"
        names = " and ".join(str(curve.adapter) for curve in apart[:2])
        more = f" and {len(apart) - 2} more" if len(apart) > 2 else ""
        return f"{names}{more} charge{'s' if len(apart) == 1 else ''} it measurably differently"


def devices_charged(*, viewer: Viewer) -> tuple[tuple[Device, int], ...]:
    """Devices with the number of adapters whose charge of them stands. Two queries."""
    counts: dict[str, set[int]] = {}
    for device, adapter_id in (
        Value.objects.current()
        .visible_to(viewer)
        .filter(metric="charge-energy")
        .values_list("device", "adapter_id")
    ):
        counts.setdefault(device, set()).add(adapter_id)
    devices = Device.objects.filter(slug__in=counts).order_by("name")
    return tuple((device, len(counts[device.slug])) for device in devices)


def adapters_charging(device: Device, *, viewer: Viewer) -> list[Adapter]:
    """Adapters whose charge of the device stands, by name. One query."""
    values = Value.objects.current().visible_to(viewer)
    charged = values.filter(metric="charge-energy", device=device.slug).values("adapter")
    found = Adapter.objects.visible_to(viewer).filter(pk__in=charged)
    return list(found.select_related("maker").order_by("maker__name", "name"))


def overlay(
    device: Device, adapters: Sequence[Adapter], *, reference: Adapter, by: Axis, viewer: Viewer
) -> Overlay:
    """Lay the standing charges of `adapters` over that of `reference`, which is one of them.

    Three queries, whatever the number of adapters.
    """
    values = _values(device, adapters, viewer=viewer)
    runs = {
        adapter_id: found["charge-energy"].run_id
        for adapter_id, found in values.items()
        if "charge-energy" in found and found["charge-energy"].run_id is not None
    }
    records = {run.adapter_id: run for run in Run.objects.filter(pk__in=runs.values())}
    repeats = _repeats(device, viewer=viewer)
    reference_record = records[reference.pk]
    reference_axes = _axes(reference_record, by=by)
    curves = []
    for adapter in adapters:
        record = records[adapter.pk]
        x, power = _axes(record, by=by)
        is_reference = adapter.pk == reference.pk
        curves.append(
            Curve(
                adapter=adapter,
                run_id=record.pk,
                fence=record.fence,
                x=x,
                power_w=power,
                start_level=_start(record),
                is_reference=is_reference,
                differences=_differences(
                    values[adapter.pk],
                    values[reference.pk],
                    repeats=repeats,
                    alike=not is_reference and _start_alike(record, reference_record),
                ),
                against=None if is_reference else compare_curves(x, power, *reference_axes),
            )
        )
    return Overlay(device, by, tuple(curves), repeats, _warnings(curves, repeats=repeats, by=by))


def _values(
    device: Device, adapters: Sequence[Adapter], *, viewer: Viewer
) -> dict[int, dict[str, Value]]:
    rows = (
        Value.objects.current()
        .visible_to(viewer)
        .filter(metric__in=QUANTITIES, device=device.slug, adapter__in=adapters)
        .order_by("-apart", "pk")  # a comparable value comes last and is the one kept
    )
    found: dict[int, dict[str, Value]] = {}
    for row in rows:
        found.setdefault(row.adapter_id, {})[row.metric] = row
    return found


def _repeats(device: Device, *, viewer: Viewer) -> dict[str, Repeatability]:
    """How well the bench repeats a charge of the device, from units that were charged again.

    Runs that a later one superseded count: they are as good, only older.
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
        .values_list("metric", "run_id", "run__unit_id", "value")
    )
    latest = {(metric, unit, run): value for metric, run, unit, value in rows}
    groups: dict[str, dict[int, list[float]]] = {}
    for (metric, unit, _), value in latest.items():
        groups.setdefault(metric, {}).setdefault(unit, []).append(value)
    found = {
        metric: repeatability([values for values in units.values() if len(values) > 1])
        for metric, units in groups.items()
    }
    return {metric: spread for metric, spread in found.items() if spread is not None}


def _axes(run: Run, *, by: Axis) -> tuple[FloatArray, FloatArray]:
    trace = run.trace or {}
    power = np.array(trace["power_w"], dtype=np.float64)
    if by == "time":
        return np.array(trace["time_min"], dtype=np.float64), power
    return by_level(np.array(trace["level_percent"], dtype=np.float64), power)


def _start(run: Run) -> float | None:
    level = run.details["facts"].get("start_level")
    return None if level is None else float(level)


def _start_alike(one: Run, other: Run) -> bool:
    start, other_start = _start(one), _start(other)
    return start is not None and other_start is not None and abs(start - other_start) <= SAME_START


def _differences(
    values: Mapping[str, Value],
    reference: Mapping[str, Value],
    *,
    repeats: Mapping[str, Repeatability],
    alike: bool,
) -> tuple[Difference, ...]:
    found = []
    for key in QUANTITIES:
        row, other = values.get(key), reference.get(key)
        difference = expanded = None
        if row is not None and other is not None and row.pk != other.pk and alike:
            difference = row.value - other.value
            expanded = _expanded(
                row.standard_uncertainty, other.standard_uncertainty, repeats.get(key)
            )
        found.append(
            Difference(all_metrics()[key], None if row is None else row.value, difference, expanded)
        )
    return tuple(found)


def _expanded(one: float, other: float, repeats: Repeatability | None) -> float:
    """U of a difference of two values with standard uncertainties `one` and `other`.

    Both were charged once, so that the scatter of repeats enters twice; with few repeats the
    coverage factor grows (JCGM 100:2008, G.4).
    """
    measured = one**2 + other**2
    if repeats is None or repeats.deviation == 0:
        return coverage_factor(math.inf) * math.sqrt(measured)
    scatter = 2 * repeats.deviation**2
    combined = measured + scatter
    # Welch and Satterthwaite, with instruments known well enough to have infinite degrees.
    degrees = repeats.degrees_of_freedom * (combined / scatter) ** 2
    return coverage_factor(degrees) * math.sqrt(combined)


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
                f"The battery level of {curve.adapter} or of the reference was not recorded at the "
                "start: their times and energies are not compared."
            )
        elif abs(curve.start_level - reference.start_level) > SAME_START:
            found.append(
                f"{curve.adapter} started at {curve.start_level:g} % and the reference at "
                f"{reference.start_level:g} %: their times and energies are not compared"
                + ("." if by == "level" else "; look at them by battery level instead.")
            )
    if not repeats:
        found.append(
            "No charge of this device was repeated, so that the bench's repeatability is not "
            "known: differences are judged by the uncertainty of measurement alone."
        )
    return tuple(found)
