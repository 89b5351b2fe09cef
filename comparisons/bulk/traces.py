"""The records behind accepted runs, thinned for drawing, as one long table for download."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import chain
from typing import Any

import numpy as np
import orjson
import pyarrow as pa

from catalog.models import Viewer
from comparisons.bulk.columns import Column, batch_schema
from comparisons.bulk.rows import ROWS, AsStored, UuidText, pieces_of
from comparisons.bulk.values import ADAPTER, RUN, VALUE
from measurements.kinds import all_kinds
from measurements.models import Run

RUNS_FETCHED = 10
"""Runs that a cursor is asked for at once; a trace may have some 100,000 numbers."""

TRACE_COLUMNS = (
    RUN,
    ADAPTER,
    Column("kind", "text", "kind of the run"),
    Column("point", "whole", "number of the row in the trace, from 0"),
    Column("column", "text", "column of the trace", free=True),
    Column("unit", "text", "unit of value, where the column has one"),
    VALUE,
)
_SCHEMA = batch_schema(TRACE_COLUMNS)
_UNIT_OF_AXIS = re.compile(r"\[([^\]]+)\]\s*$")
_SIGNS = {"degC": "°C", "mVpp": "mV"}


@dataclass(frozen=True, slots=True)
class _Stretch:
    """One column of one trace."""

    texts: tuple[str, str, str, str, str | None]
    """Run, adapter, kind, column, unit."""
    values: list[float | None]


def trace_rows(*, viewer: Viewer, narrowed: Mapping[str, Any]) -> Iterator[pa.RecordBatch]:
    """Every trace of runs that were accepted and may be seen: a row for each number.

    In the order in which the runs came in; `narrowed` names fields of `Run` with the value
    wanted.
    """
    waiting: list[_Stretch] = []
    size = 0
    for stretch in _stretches(viewer, narrowed):
        waiting.append(stretch)
        size += len(stretch.values)
        if size >= ROWS:
            yield from _batches(waiting)
            waiting, size = [], 0
    if size:
        yield from _batches(waiting)


def _stretches(viewer: Viewer, narrowed: Mapping[str, Any]) -> Iterator[_Stretch]:
    runs = (
        Run.objects.visible_to(viewer)
        .filter(accepted_at__isnull=False, trace__isnull=False, **narrowed)
        .order_by("pk")
        .values_list(UuidText("id"), "adapter__slug", "kind", AsStored("trace"), AsStored("plot"))
    )
    for run, adapter, kind, trace, plot in runs.iterator(chunk_size=RUNS_FETCHED):
        columns = orjson.loads(trace)
        units = units_of_trace(kind, orjson.loads(plot or "{}"), columns)
        for column, values in columns.items():
            yield _Stretch((run, adapter, kind, column, units.get(column)), values)


def units_of_trace(kind: str, plot: Mapping[str, Any], columns: Iterable[str]) -> dict[str, str]:
    """Unit of each column that has one, as the chart titles its axis or the kind declares it."""
    axes = {line["column"]: plot.get("y_title", "") for line in plot.get("lines", ())}
    axes[plot.get("x", "")] = plot.get("x_title", "")
    found: dict[str, str] = {}
    for column in columns:
        titled = _UNIT_OF_AXIS.search(axes.get(column, ""))
        unit = titled.group(1) if titled else _declared_unit(kind, column)
        if unit:
            found[column] = unit
    return found


def _declared_unit(kind: str, column: str) -> str:
    declared = _declared(kind)
    families = (name for name in declared if name.startswith("*") and column.endswith(name[1:]))
    return declared.get(column) or declared.get(next(families, ""), "")


@cache
def _declared(kind: str) -> dict[str, str]:
    """Unit of each column that a kind reads, families as ``*_c``; none of an unknown kind."""
    return {
        column.name: _SIGNS.get(column.unit, column.unit)
        for declared in all_kinds()
        if declared.slug == kind
        for column in declared.columns
        if column.unit
    }


def _batches(stretches: list[_Stretch]) -> Iterator[pa.RecordBatch]:
    sizes = [len(stretch.values) for stretch in stretches]
    rows = pa.array(np.repeat(np.arange(len(stretches)), sizes))
    run, adapter, kind, column, unit = (
        pa.array(texts, pa.string()).take(rows)
        for texts in zip(*(stretch.texts for stretch in stretches), strict=True)
    )
    point = pa.array(np.concatenate([np.arange(size) for size in sizes]), pa.int64())
    value = pa.array(chain.from_iterable(stretch.values for stretch in stretches), pa.float64())
    whole = pa.RecordBatch.from_arrays(
        [run, adapter, kind, point, column, unit, value], schema=_SCHEMA
    )
    yield from pieces_of(whole)
