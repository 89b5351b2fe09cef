"""A comparison table: adapters by metrics and conditions, from the values that stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np

from catalog.models import Adapter, Viewer
from comparisons.queries.cohorts import CONDITION_PARTS, standing_values
from comparisons.ranking import COVERAGE_FACTOR, clear_best, expanded
from measurements.kinds import all_kinds, all_metrics
from measurements.kinds.base import Condition, Metric
from measurements.models import Source, Value

# Heading over the metrics that follow from the catalogue alone.
PHYSICAL_SECTION = "Size and mass"

HIGHLIGHT_RULE = (
    "“Best” stands only where a value is better than every other comparable one of its row by "
    "more than their combined expanded uncertainty (k = 2); where an uncertainty is not stated, "
    "no value of the row is marked."
)


@dataclass(frozen=True, slots=True)
class Cell:
    """One adapter's value; `best` only where it is better than every other beyond U."""

    value: float
    standard_uncertainty: float | None
    run_id: UUID | None
    method: str
    apart: str
    source: Source
    table_id: UUID | None = None
    best: bool = False

    @property
    def expanded_uncertainty(self) -> float | None:
        """U at k = 2; None where a table did not state one."""
        return expanded(self.standard_uncertainty)


@dataclass(frozen=True, slots=True)
class TableRow:
    """One metric under one condition; `cells` in the order of the adapters, None: not tested."""

    metric: Metric
    condition: Condition
    cells: tuple[Cell | None, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """The whole table."""

    adapters: tuple[Adapter, ...]
    rows: tuple[TableRow, ...]


def comparison_table(
    adapters: Sequence[Adapter],
    *,
    metrics: Iterable[str],
    conditions: Mapping[str, Any],
    viewer: Viewer,
    tables: bool = False,
    metric_conditions: Iterable[Mapping[str, Any]] = (),
) -> Table:
    """The live table, in one query.

    A metric has a row for every condition under which at least one of the adapters has a
    value; `conditions` (``line``, ``output_v``, ``device``) narrows them where a metric has
    that part, and `metric_conditions` those of one metric further. A metric that none of them
    was tested for still has a row. With `tables`, results that came by a table fill the cells
    of what was not measured.
    """
    declared = all_metrics()
    keys = [key for key in metrics if key in declared]
    narrowed = {item["metric"]: {**conditions, **item["conditions"]} for item in metric_conditions}
    found: dict[tuple[str, str], dict[int, Value]] = {}
    seen: dict[str, dict[str, Condition]] = {key: {} for key in keys}
    for value in (
        standing_values(viewer=viewer, as_of=None, tables=tables)
        .filter(adapter__in=[adapter.pk for adapter in adapters], metric__in=keys)
        .order_by("-apart", "pk")  # a comparable value comes last and takes the cell
    ):
        condition = value.condition
        parts = condition.as_json()
        wanted = narrowed.get(value.metric, conditions)
        if any(part in parts and parts[part] != want for part, want in wanted.items()):
            continue
        if set(parts) - set(declared[value.metric].condition):
            continue  # finer than the metric is ranked by, such as a single sensor
        seen[value.metric][condition.key] = condition
        found.setdefault((value.metric, condition.key), {})[value.adapter_id] = value
    rows = []
    for key in keys:
        ordered = sorted(seen[key].values(), key=_plainest)
        for condition in ordered or [Condition()]:
            values = found.get((key, condition.key), {})
            rows.append(
                TableRow(
                    metric=declared[key],
                    condition=condition,
                    cells=_cells([values.get(adapter.pk) for adapter in adapters], declared[key]),
                )
            )
    return Table(adapters=tuple(adapters), rows=tuple(rows))


def _plainest(condition: Condition) -> tuple[bool, float, str]:
    return condition.line != "high", -(condition.output_v or 0.0), condition.key


def conditions_measured(
    adapters: Sequence[Adapter], *, metrics: Iterable[str], viewer: Viewer, tables: bool = False
) -> dict[str, list[Condition]]:
    """Metric → the conditions under which one of the adapters has a value. One query."""
    declared = all_metrics()
    found: dict[str, list[Condition]] = {}
    for key, *parts in (
        standing_values(viewer=viewer, as_of=None, tables=tables)
        .filter(adapter__in=[adapter.pk for adapter in adapters], metric__in=list(metrics))
        .values_list("metric", *CONDITION_PARTS)
        .distinct()
        .order_by()
    ):
        condition = Condition(**dict(zip(CONDITION_PARTS, parts, strict=True)))
        if key in declared and not set(condition.as_json()) - set(declared[key].condition):
            found.setdefault(key, []).append(condition)
    return {key: sorted(conditions, key=_plainest) for key, conditions in found.items()}


def _cells(values: Sequence[Value | None], metric: Metric) -> tuple[Cell | None, ...]:
    comparable = [
        position for position, value in enumerate(values) if value is not None and not value.apart
    ]
    numbers = np.array([values[position].value for position in comparable])  # type: ignore[union-attr]
    stated = [values[position].stated_uncertainty for position in comparable]  # type: ignore[union-attr]
    spreads = np.array(stated, dtype=np.float64)
    best = clear_best(numbers, spreads, better=metric.better)
    marked = None if best is None else comparable[best]
    return tuple(
        None
        if value is None
        else Cell(
            value=value.value,
            standard_uncertainty=value.stated_uncertainty,
            run_id=value.run_id,
            method=value.method,
            apart=value.apart,
            source=value.source,
            table_id=value.table_id,
            best=position == marked,
        )
        for position, value in enumerate(values)
    )


def as_frozen(table: Table) -> dict[str, Any]:
    """The table as plain data, complete enough to be shown without asking anything else."""
    sections = {metric.key: kind.title for kind in all_kinds() for metric in kind.metrics}
    return {
        "coverage_factor": COVERAGE_FACTOR,
        "adapters": [
            {"slug": adapter.slug, "maker": adapter.maker.name, "name": adapter.name}
            for adapter in table.adapters
        ],
        "rows": [
            {
                "metric": row.metric.key,
                "section": sections.get(row.metric.key, PHYSICAL_SECTION),
                "title": row.metric.title,
                "unit": row.metric.unit,
                "better": row.metric.better,
                "decimals": row.metric.decimals,
                "condition": row.condition.as_json(),
                "cells": [
                    None
                    if cell is None
                    else {
                        "value": cell.value,
                        "standard_uncertainty": cell.standard_uncertainty,
                        "run": str(cell.run_id) if cell.run_id else None,
                        "method": cell.method,
                        "source": cell.source,
                        "table": str(cell.table_id) if cell.table_id else None,
                        "apart": cell.apart,
                        "best": cell.best,
                    }
                    for cell in row.cells
                ],
            }
            for row in table.rows
        ],
    }


def methods_of(frozen: Mapping[str, Any]) -> list[str]:
    """The method versions in a table made by `as_frozen`, one line a metric."""
    used: dict[str, set[str]] = {}
    for row in frozen["rows"]:
        for cell in row["cells"]:
            if cell is not None:
                used.setdefault(row["title"], set()).add(cell["method"])
    return [f"{title} {', '.join(sorted(versions))}" for title, versions in used.items()]
