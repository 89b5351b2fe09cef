"""A unit wrong by a factor of thousand, and time that runs backward, in every kind of run.

Each numeric column of a demo log is given a thousand times too large and too small. Either a cell
is out of its bounds, or the kind refuses the table, or at least it warns.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from fixtures.scenario import scenario
from measurements.intake.columns import Column, FloatArray, Table
from measurements.intake.judging import outside
from measurements.intake.tables import read_table
from measurements.kinds import all_kinds, get_kind
from measurements.kinds.base import AdapterFacts, DeviceFacts, Kind, PortFacts, Setup

SLUGS = [kind.slug for kind in all_kinds()]
UNSCALED = ("", "%")


@cache
def demo_logs(slug: str) -> tuple[tuple[Table, Setup], ...]:
    """Of each set of columns that the demo has for a kind, one table with its conditions."""
    made = scenario(adapters=6)
    adapters = {item.slug: item for item in made.adapters}
    devices = tuple(DeviceFacts(item.slug, item.name, item.battery_wh) for item in made.devices)
    kind = get_kind(slug)
    found: dict[frozenset[str], tuple[Table, Setup]] = {}
    for run in made.runs:
        if run.kind != slug:
            continue
        adapter = adapters[run.adapter]
        mains_v = float(run.fields.get("mains_v") or 230.0)
        setup = Setup(
            adapter=AdapterFacts(
                rated_power_w=adapter.rated_power_w,
                ports=tuple(PortFacts(port.label, port.connector) for port in adapter.ports),
            ),
            line="high" if mains_v > 150 else "low",
            mains_v=mains_v,
            ambient_c=24.0,
            fields={
                field.name: run.fields[field.name]
                for field in kind.fields
                if run.fields.get(field.name) not in (None, "")
            },
            devices=devices,
        )
        table = read(run.content, kind)
        if table is not None and not kind.check(table, setup):
            found.setdefault(frozenset(table.columns), (table, setup))
    return tuple(found.values())


def read(content: bytes, kind: Kind) -> Table | None:
    with tempfile.NamedTemporaryFile() as file:
        Path(file.name).write_bytes(content)
        return read_table(Path(file.name), kind.columns, file_name="log").table


def column_of(name: str, kind: Kind) -> Column:
    single = {column.name: column for column in kind.columns}
    return single.get(name) or next(column for column in kind.columns if column.is_family)


def told(table: Table, setup: Setup, kind: Kind) -> Iterator[str]:
    """What anybody is told of a table: that a cell is impossible, problems, or warnings."""
    for name, values in table.columns.items():
        if outside(values, column_of(name, kind)).any():
            yield f"{name} out of bounds"
            return
    problems = kind.check(table, setup)
    yield from (problem.detail for problem in problems)
    if not problems:
        flags = kind.measure(table, setup).flags
        yield from (flag.detail for flag in flags if flag.severity == "warning")


def changed(table: Table, name: str, values: FloatArray) -> Table:
    return replace(table, columns={**table.columns, name: values})


@pytest.mark.parametrize("factor", [1000.0, 0.001])
@pytest.mark.parametrize("slug", SLUGS)
def test_a_thousandfold_slip_is_told(slug: str, factor: float) -> None:
    kind = get_kind(slug)
    assert demo_logs(slug)
    unnoticed = []
    for table, setup in demo_logs(slug):
        before = set(told(table, setup, kind))
        for name, values in table.columns.items():
            if column_of(name, kind).unit in UNSCALED:
                continue
            if not set(told(changed(table, name, values * factor), setup, kind)) - before:
                unnoticed.append((name, float(np.nanmax(values))))
    assert unnoticed == []


TIMED = [slug for slug in SLUGS if any(column.unit == "s" for column in get_kind(slug).columns)]


@pytest.mark.parametrize("slug", TIMED)
def test_time_that_runs_backward_or_stands_still_is_a_problem_with_its_row(slug: str) -> None:
    kind = get_kind(slug)
    timed = [(table, setup) for table, setup in demo_logs(slug) if "time_s" in table]
    assert timed
    for table, setup in timed:
        middle = len(table) // 2
        for step in (0.0, -1.0):
            time = table["time_s"].copy()
            # The same moment again, or one before it.
            time[middle] = time[middle - 1] + step * (time[1] - time[0]) / 2
            problems = kind.check(changed(table, "time_s", time), setup)
            assert problems
            assert any(problem.column == "time_s" for problem in problems)
            assert any(problem.row is not None for problem in problems)
