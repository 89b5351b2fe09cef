"""Hold-up time: how long the output stands after the mains is gone. A kind for a test only."""

from __future__ import annotations

from measurements.intake.columns import Column, Problem, Table
from measurements.kinds.base import (
    Condition,
    Field,
    Kind,
    Measured,
    Metric,
    Outcome,
    PlannedRun,
    Plot,
    PlotLine,
    Setup,
)


def _check(table: Table, _: Setup) -> tuple[Problem, ...]:
    return () if len(table) else (Problem("The table has no rows."),)


def _measure(table: Table, setup: Setup) -> Outcome:
    shortest = float(table["hold_up_ms"].min())
    return Outcome(
        values=(Measured("hold-up-time", shortest, 0.5, Condition(line=setup.line)),),
        flags=(),
        verdicts=(),
        trace={"load_percent": table["load_percent"], "hold_up_ms": table["hold_up_ms"]},
        plot=Plot(
            title=f"The output stands for at least {shortest:g} ms",
            x="load_percent",
            x_title="Load, %",
            y_title="Hold-up time, ms",
            lines=(PlotLine("hold_up_ms", "Hold-up time", "line-point"),),
        ),
    )


def _plan(_: Setup) -> tuple[PlannedRun, ...]:
    return (
        PlannedRun(
            title="Hold-up time at 230 V mains",
            fields={"mains_v": 230, "mains_hz": 50, "threshold_percent": 90},
            columns=("load_percent", "hold_up_ms"),
            rows=((50.0, None), (100.0, None)),
        ),
    )


KIND = Kind(
    slug="hold-up",
    title="Hold-up time",
    summary="How long the output stands after the mains is gone.",
    columns=(
        Column("load_percent", "Load", "%", aliases=("load",), minimum=0, maximum=110),
        Column("hold_up_ms", "Hold-up time", "ms", aliases=("hold up", "hold-up"), minimum=0),
    ),
    metrics=(
        Metric(
            key="hold-up-time",
            title="Hold-up time",
            unit="ms",
            better="higher",
            condition=("line",),
            definition="Shortest time from the loss of the mains to the fall of the output.",
            formula="min over the loads",
            source="common-practice",
            decimals=1,
        ),
    ),
    check=_check,
    measure=_measure,
    quantities=(),
    cautions=("Interrupt the mains with a switch made for it, never with a hand at a plug.",),
    fields=(
        Field(
            "threshold_percent",
            "Threshold",
            "Share of the nominal voltage at which the output counts as fallen.",
            unit="%",
        ),
    ),
    plan=_plan,
)
