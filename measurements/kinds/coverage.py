"""Which operating points of a plan a run holds.

A kind whose plan has rows states what its run holds as the fact `points` of its details: a list of
mappings, canonical column → text or number, written as its plan writes them. A reading that may
differ from its set point stands there as the set point that it counts for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from measurements.kinds.base import PlannedRun

POINTS = "points"

# A share of the planned number: points are set points already, but for rounding.
_SAME = 0.01

Point = Mapping[str, str | float]


def held_points(asked: PlannedRun, *, facts: Mapping[str, Any]) -> frozenset[int]:
    """Which planned rows the run with these facts holds, counted from 0.

    A log is one point, which any run of it holds, and a run that states no points holds all.
    """
    if asked.log or POINTS not in facts:
        return all_points(asked)
    planned = [dict(zip(asked.columns, row, strict=True)) for row in asked.rows]
    held: set[int] = set()
    for point in facts[POINTS]:
        held |= _counts_for(point, planned)
    return frozenset(held)


def all_points(asked: PlannedRun) -> frozenset[int]:
    """Every point of the planned run, counted from 0; a log is one."""
    return frozenset(range(1 if asked.log else len(asked.rows) or 1))


def _counts_for(point: Point, planned: list[dict[str, str | float | None]]) -> set[int]:
    """The rows that the point fits in most cells: an open cell fits, but says nothing."""
    fits = {place: _cells_met(point, row) for place, row in enumerate(planned)}
    most = max(fits.values(), default=0)
    return {place for place, met in fits.items() if met == most} if most else set()


def _cells_met(point: Point, row: Mapping[str, str | float | None]) -> int:
    """How many planned cells the point meets, 0 when it contradicts one."""
    met = 0
    for name, found in point.items():
        wanted = row.get(name)
        if wanted is None:
            continue
        if not _same(wanted, found):
            return 0
        met += 1
    return met


def _same(wanted: str | float, found: str | float) -> bool:
    if isinstance(wanted, str) or isinstance(found, str):
        return str(wanted).casefold() == str(found).casefold()
    return math.isclose(wanted, found, rel_tol=_SAME, abs_tol=1e-9)
