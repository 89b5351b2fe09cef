"""Rows of a table to look at: the first, the last, and those that hold a column's extremes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from measurements.intake.columns import Column, Table
from measurements.intake.evidence import Sample, SampleRow

SHOWN_EXTREMES = 24  # columns beyond this many show no extremes: nobody reads so wide a table


def sample_of(table: Table, columns: Sequence[Column], *, ends: int = 3) -> Sample:
    """The rows of a table that a person should see before anything is computed.

    Parameters
    ----------
    table : Table
        What was read, in canonical units.
    columns : sequence of Column
        Those of the kind, for titles and units.
    ends : int
        How many rows from each end.
    """
    numeric = list(table.columns)
    names = (*numeric, *table.texts)
    titles, shown_units = zip(*(_title(name, columns) for name in names), strict=True)
    count = len(table)
    extremes: dict[int, list[str]] = {}
    for name in numeric[:SHOWN_EXTREMES]:
        values = table[name]
        if not np.isnan(values).all():
            for place in {int(np.nanargmin(values)), int(np.nanargmax(values))}:
                extremes.setdefault(place, []).append(name)
    places = {*range(min(ends, count)), *range(max(0, count - ends), count), *extremes}
    return Sample(
        names=names,
        titles=titles,
        units=shown_units,
        rows=tuple(
            SampleRow(
                row=int(table.rows[place]),
                role=_role(place, count=count, ends=ends),
                cells=tuple(_cell(table, name, place) for name in names),
                extremes=tuple(extremes.get(place, ())),
            )
            for place in sorted(places)
        ),
        row_count=count,
    )


def _role(place: int, *, count: int, ends: int) -> Literal["first", "last", "extreme"]:
    if place < ends:
        return "first"
    return "last" if place >= count - ends else "extreme"


def _title(name: str, columns: Sequence[Column]) -> tuple[str, str]:
    for column in columns:
        if column.name == name:
            return column.title, column.unit
    family = next(item for item in columns if item.is_family and name.endswith(item.name[1:]))
    return name.removesuffix(family.name[1:]).replace("_", " "), family.unit


def _cell(table: Table, name: str, place: int) -> float | str | None:
    if name in table.texts:
        return table.texts[name][place]
    value = float(table[name][place])
    return None if np.isnan(value) else value
