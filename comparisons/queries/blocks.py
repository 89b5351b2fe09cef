"""What stands beside the table of a comparison: charge curves, efficiency lines, sharing matrices.

A block is plain data, complete enough to be drawn and written without asking anything else, so
that it can be frozen with the table. Its key says what it is of: ``charges:DEVICE``,
``efficiency:LINE:OUTPUT_V``, ``sharing:LINE``.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np
from django.utils import timezone

from catalog.models import Adapter, Device, Viewer
from comparisons.queries.charge_differences import QUANTITIES
from comparisons.queries.charge_overlays import Curve, Overlay, overlay
from comparisons.queries.charge_runs import moment_of, standing_charges
from comparisons.queries.cohorts import standing_values
from comparisons.ranking import clear_best, expanded
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.kinds.instruments import listed
from measurements.metrics.downsample import downsample
from measurements.models import Run, Value
from measurements.queries import condition_in_words

MOST_LINES = 6
"""Lines have six colours and dashes; more would share them."""

MOST_BLOCKS = 12
_POINTS = 400
_EFFICIENCY = "efficiency"
_KEY = re.compile(
    r"charges:[-a-z0-9_]{1,100}|efficiency:(?:high|low)?:[0-9]{1,3}(?:\.[0-9]{1,3})?"
    r"|sharing:(?:high|low)?"
)


@dataclass(frozen=True, slots=True)
class BlockChoice:
    """A block that the adapters have data for; `title` says of how many."""

    key: str
    title: str


def is_block_key(text: str) -> bool:
    """Whether a text is written as the key of a block is."""
    return _KEY.fullmatch(text) is not None


def block_choices(adapters: Sequence[Adapter], *, viewer: Viewer) -> tuple[BlockChoice, ...]:
    """The blocks that at least one of the adapters has data for. Three queries."""
    pks = [adapter.pk for adapter in adapters]
    charged: dict[str, set[int]] = {}
    lit: dict[tuple[str, float], set[int]] = {}
    for device, line, output_v, metric, adapter_id in (
        Value.objects.measured()
        .current()
        .visible_to(viewer)
        .filter(adapter__in=pks, metric__in=("charge-energy", _EFFICIENCY), run__isnull=False)
        .values_list("device", "line", "output_v", "metric", "adapter_id")
        .distinct()
        .order_by()
    ):
        if metric == _EFFICIENCY:
            lit.setdefault((line, output_v or 0.0), set()).add(adapter_id)
        else:
            charged.setdefault(device, set()).add(adapter_id)
    shared: dict[str, set[int]] = {}
    for line, adapter_id in _sharing_runs(pks, viewer=viewer).values_list("line", "adapter_id"):
        shared.setdefault(line, set()).add(adapter_id)
    devices = Device.objects.filter(slug__in=charged).order_by("name")
    return (
        *(
            BlockChoice(
                f"charges:{device.slug}",
                f"Charge curves of {device.name} ({_of(charged[device.slug])})",
            )
            for device in devices
        ),
        *(
            BlockChoice(
                f"efficiency:{line}:{output_v:g}",
                f"Efficiency over load, {_where(line, output_v)} ({_of(found)})",
            )
            for (line, output_v), found in sorted(lit.items(), key=lambda item: _plainest(*item[0]))
        ),
        *(
            BlockChoice(f"sharing:{line}", f"Power by ports in use, {_where(line)} ({_of(found)})")
            for line, found in sorted(shared.items(), key=lambda item: item[0] != "high")
        ),
    )


def _of(adapters: set[int]) -> str:
    return f"{len(adapters)} adapter{'' if len(adapters) == 1 else 's'}"


def _where(line: str, output_v: float | None = None) -> str:
    return condition_in_words(Condition(line=line, output_v=output_v))


def _plainest(line: str, output_v: float) -> tuple[bool, float]:
    return line != "high", -output_v


def blocks_of(
    adapters: Sequence[Adapter], keys: Iterable[str], *, viewer: Viewer
) -> list[dict[str, Any]]:
    """The blocks as plain data, those without any data left out.

    A fixed number of queries a block, whatever the number of adapters.
    """
    made = (_block(key, adapters, viewer=viewer) for key in keys)
    return [block for block in made if block is not None]


def _block(key: str, adapters: Sequence[Adapter], *, viewer: Viewer) -> dict[str, Any] | None:
    kind, _, rest = key.partition(":")
    if kind == "charges":
        return _charges(key, rest, adapters, viewer=viewer)
    if kind == "sharing":
        return _sharing(key, rest, adapters, viewer=viewer)
    line, _, output_v = rest.partition(":")
    return _efficiency(key, line, float(output_v), adapters, viewer=viewer)


def _charges(
    key: str, slug: str, adapters: Sequence[Adapter], *, viewer: Viewer
) -> dict[str, Any] | None:
    device = Device.objects.filter(slug=slug).first()
    if device is None:
        return None
    standing = standing_charges(device, viewer=viewer)
    runs = [standing[adapter.slug][1] for adapter in adapters if adapter.slug in standing]
    if not runs:
        return None
    notes = []
    if len(runs) > MOST_LINES:
        notes.append(f"The first {MOST_LINES} of {len(runs)} adapters with a charge of it.")
    laid = overlay(device, runs[:MOST_LINES], reference=runs[0], by="time", viewer=viewer)
    verdicts = [f"{curve.label}: {curve.verdict}" for curve in laid.curves]
    return {
        "key": key,
        "kind": "charges",
        "title": laid.title,
        "x_title": "Time from the start of the charge, min",
        "y_title": "Charging power, W",
        "lines": [_curve_line(curve) for curve in laid.curves],
        "caption": f"Charges of {device.name}: values, and what they differ from the reference",
        "headings": ["Quantity", *(curve.label for curve in laid.curves)],
        "rows": _charge_rows(laid),
        "notes": [*laid.warnings, *notes, *verdicts, *laid.notes],
    }


def _curve_line(curve: Curve) -> dict[str, Any]:
    thin = downsample({"x": curve.x, "y": curve.power_w}, points=_POINTS, x="x")
    label = f"{curve.label}, the reference" if curve.is_reference else curve.label
    return {
        "adapter": curve.run.adapter.slug,
        "name": label,
        "mark": "line",
        "run": str(curve.run.pk),
        "x": [round(float(value), 3) for value in thin["x"]],
        "y": [None if np.isnan(value) else round(float(value), 3) for value in thin["y"]],
    }


def _charge_rows(laid: Overlay) -> list[dict[str, Any]]:
    by_key = [{item.metric.key: item for item in curve.differences} for curve in laid.curves]
    rows: list[dict[str, Any]] = []
    for key in QUANTITIES:
        found = [items.get(key) for items in by_key]
        if not any(item is not None and item.value is not None for item in found):
            continue
        metric = all_metrics()[key]
        rows.append(
            {
                "title": f"{metric.title}, {metric.unit}",
                "decimals": metric.decimals,
                "cells": [
                    None
                    if item is None or item.value is None
                    else {
                        "value": item.value,
                        "expanded_uncertainty": None,
                        "difference": item.difference,
                        "expanded_of_difference": item.expanded,
                        "word": "differs" if item.differs else "",
                    }
                    for item in found
                ],
            }
        )
    return rows


def _efficiency(
    key: str, line: str, output_v: float, adapters: Sequence[Adapter], *, viewer: Viewer
) -> dict[str, Any] | None:
    metric = all_metrics()[_EFFICIENCY]
    held: dict[int, list[Value]] = {}
    for value in (
        standing_values(viewer=viewer, as_of=None)
        .filter(
            adapter__in=[adapter.pk for adapter in adapters],
            metric=_EFFICIENCY,
            line=line,
            output_v=output_v,
            apart="",
            load_percent__isnull=False,
        )
        .order_by("load_percent", "pk")
    ):
        held.setdefault(value.adapter_id, []).append(value)
    shown = [adapter for adapter in adapters if adapter.pk in held]
    if not shown:
        return None
    # A set load is never met exactly: points share a row when they round to one percent.
    placed = [
        {round(value.load_percent or 0.0): value for value in held[adapter.pk]} for adapter in shown
    ]
    loads = sorted({load for points in placed for load in points})
    names = [str(adapter) for adapter in shown]
    rows = []
    ahead: list[str] = []
    shared = 0
    for load in loads:
        found = [points.get(load) for points in placed]
        best = None
        there = [at for at, value in enumerate(found) if value is not None]
        if len(there) > 1:
            shared += 1
            numbers = [value for value in found if value is not None]
            place = clear_best(
                np.array([value.value for value in numbers]),
                np.array([value.stated_uncertainty for value in numbers], dtype=np.float64),
                better=metric.better,
            )
            best = None if place is None else there[place]
            ahead += [] if best is None else [names[best]]
        rows.append(
            {
                "title": f"{load:g} % load",
                "decimals": metric.decimals,
                "cells": [
                    None
                    if value is None
                    else {
                        "value": value.value,
                        "expanded_uncertainty": expanded(value.stated_uncertainty),
                        "difference": None,
                        "expanded_of_difference": None,
                        "word": "best" if at == best else "",
                    }
                    for at, value in enumerate(found)
                ],
            }
        )
    notes = ["“Best” only where the difference exceeds the combined U, k = 2."]
    if len(shown) > MOST_LINES:
        notes.append(
            f"The first {MOST_LINES} of {len(shown)} adapters are drawn; the table has all."
        )
    where = _where(line, output_v)
    return {
        "key": key,
        "kind": "efficiency",
        "title": _efficiency_finding(where, ahead, shared=shared, count=len(shown)),
        "x_title": "Load, % of the output’s rated current",
        "y_title": "Efficiency, %",
        "lines": [
            {
                "adapter": adapter.slug,
                "name": str(adapter),
                "mark": "line-point",
                "run": str(held[adapter.pk][-1].run_id),
                "x": [value.load_percent for value in held[adapter.pk]],
                "y": [value.value for value in held[adapter.pk]],
            }
            for adapter in shown[:MOST_LINES]
        ],
        "caption": f"Efficiency in %, {where}; ± is U, k = 2",
        "headings": ["Load", *names],
        "rows": rows,
        "notes": notes,
    }


def _efficiency_finding(where: str, ahead: Sequence[str], *, shared: int, count: int) -> str:
    """The finding, from who is ahead beyond the combined uncertainty at the loads in common."""
    if count == 1 or not shared:
        return f"Efficiency over load, {where}"
    leaders = list(dict.fromkeys(ahead))
    if not leaders:
        return f"No adapter is measurably ahead at any load in common, {where}"
    if len(leaders) == 1 and len(ahead) == shared:
        return f"{leaders[0]} is the most efficient at every load in common, {where}"
    (first, most), *others = Counter(ahead).most_common()
    said = [f"{first} is measurably ahead at {most}", *(f"{name} at {n}" for name, n in others[:2])]
    if rest := others[2:]:
        said.append(f"{len(rest)} more at {sum(n for _, n in rest)}")
    return f"{', '.join(said)} of {shared} loads, {where}"


def _sharing_runs(adapter_ids: Sequence[int], *, viewer: Viewer, line: str | None = None) -> Any:
    found = Run.objects.visible_to(viewer).filter(
        adapter__in=adapter_ids,
        kind="sharing",
        state=Run.State.READY,
        standing=Run.Standing.ACCEPTED,
    )
    return found if line is None else found.filter(line=line)


def _sharing(
    key: str, line: str, adapters: Sequence[Adapter], *, viewer: Viewer
) -> dict[str, Any] | None:
    newest: dict[int, tuple[UUID, Any, str]] = {}
    for run in (
        _sharing_runs([adapter.pk for adapter in adapters], viewer=viewer, line=line)
        .only("adapter_id", "details", "measured_at", "received_at")
        .order_by("accepted_at", "pk")
    ):
        day = f"{timezone.localtime(moment_of(run)):%Y-%m-%d}"
        newest[run.adapter_id] = (run.pk, run.details.get("matrices", []), day)
    matrices = [
        {
            "adapter": adapter.slug,
            "name": str(adapter),
            "run": str(newest[adapter.pk][0]),
            "day": newest[adapter.pk][2],
            "matrices": list(newest[adapter.pk][1]),
        }
        for adapter in adapters
        if adapter.pk in newest and newest[adapter.pk][1]
    ]
    if not matrices:
        return None
    without = [str(adapter) for adapter in adapters if adapter.pk not in newest]
    return {
        "key": key,
        "kind": "sharing",
        "title": f"Power by ports in use, {_where(line)}",
        "matrices": matrices,
        "notes": [f"Not measured: {listed(without)}."] if without else [],
    }


def runs_of_block(block: Mapping[str, Any]) -> dict[str, str]:
    """Adapter (slug) → run that the block was made from."""
    drawn = block["matrices"] if block["kind"] == "sharing" else block["lines"]
    return {item["adapter"]: item["run"] for item in drawn}
