"""What keeps a no-load record from being computed."""

from __future__ import annotations

import numpy as np

from measurements.intake.columns import Problem, Table
from measurements.kinds.base import Setup

# A meter may wander a little below zero; more than this is a reversed or unzeroed channel.
LOWEST_POWER_W = -0.001

# No bench logs power faster; a smaller step is a wrong unit, and no slope can be found over it.
SHORTEST_STEP_S = 1e-6


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Missing or negative powers, and time that stands still or runs backward."""
    if len(table) == 0:
        return (
            Problem("The file holds no readings; at least one is needed.", column="input_power_w"),
        )
    return (*_power_problems(table), *_time_problems(table))


def _power_problems(table: Table) -> list[Problem]:
    powers = table["input_power_w"]
    problems = []
    for index in np.flatnonzero(~np.isfinite(powers) | (powers < LOWEST_POWER_W)):
        if np.isfinite(powers[index]):
            detail = (
                f"Input power is {powers[index]:g} W, and an adapter cannot feed the mains; check "
                "the meter's zero and its direction, then measure again."
            )
        else:
            detail = "Input power is missing; fill in the reading or leave out the row."
        problems.append(Problem(detail, row=int(table.rows[index]), column="input_power_w"))
    return problems


def _time_problems(table: Table) -> list[Problem]:
    if "time_s" not in table:
        return []
    times = table["time_s"]
    if np.isfinite(times).all() and (np.diff(times) >= SHORTEST_STEP_S).all():
        return []
    problems = []
    latest: float | None = None
    for row, moment in zip(table.rows, times, strict=True):
        if not np.isfinite(moment):
            detail = "Time is missing; fill it in, or leave out the whole column."
        elif latest is not None and moment <= latest:
            detail = (
                f"Time is {moment:g} s, not later than {latest:g} s before it; keep one record, "
                "in the order of time."
            )
        elif latest is not None and moment - latest < SHORTEST_STEP_S:
            detail = (
                f"Time is {moment:g} s, less than a microsecond after {latest:g} s before it; "
                "check the unit of the column."
            )
        else:
            latest = float(moment)
            continue
        problems.append(Problem(detail, row=int(row), column="time_s"))
    return problems
