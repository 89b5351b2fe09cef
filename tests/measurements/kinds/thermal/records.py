"""Records and setups of a thermal run, built from curves that are known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    Condition,
    Measured,
    Outcome,
    Plot,
    Setup,
)
from measurements.kinds.thermal import KIND

LOGGER = Accuracy("Logger", "temperature", reading_percent=0.1, fixed=0.5)
HOUR = np.arange(0.0, 3601.0, 10.0)


def heating(
    rise: float, *, tau_min: float = 15.0, ambient: float = 25.0, time_s: FloatArray = HOUR
) -> FloatArray:
    """A sensor's exact record from ambient."""
    return np.asarray(ambient + rise * (1 - np.exp(-time_s / (60 * tau_min))))


def record(*, time_s: FloatArray | Sequence[float] = HOUR, **columns: Any) -> Table:
    """A table; a single number fills its column; the file's first data row is line 2."""
    time = np.array(time_s, dtype=np.float64)
    return Table(
        columns={
            "time_s": time,
            **{
                name: np.array(np.broadcast_to(values, time.shape), dtype=np.float64)
                for name, values in columns.items()
            },
        },
        rows=np.arange(2, len(time) + 2),
    )


def setup(
    *,
    materials: Any = None,
    enclosure: str = "plastic",
    ambient_c: float | None = None,
    accuracies: Sequence[Accuracy] = (LOGGER,),
) -> Setup:
    fields: Mapping[str, Any] = {} if materials is None else {"materials": materials}
    return Setup(
        adapter=AdapterFacts(rated_power_w=100.0, enclosure=enclosure),
        line="high",
        mains_v=230.0,
        mains_hz=50.0,
        ambient_c=ambient_c,
        accuracies=tuple(accuracies),
        fields=fields,
    )


def measured(table: Table, given: Setup) -> Outcome:
    """The outcome of a record that the check lets through."""
    assert KIND.check(table, given) == ()
    return KIND.measure(table, given)


def values_of(outcome: Outcome, metric: str, *, sensor: str = "") -> list[Measured]:
    wanted = Condition(line="high", sensor=sensor)
    return [item for item in outcome.values if (item.metric, item.condition) == (metric, wanted)]


def value(outcome: Outcome, metric: str, *, sensor: str = "") -> Measured:
    (found,) = values_of(outcome, metric, sensor=sensor)
    return found


def flags_of(outcome: Outcome) -> dict[str, str]:
    """Code → detail; a code may appear once only."""
    codes = [flag.code for flag in outcome.flags]
    assert len(codes) == len(set(codes))
    return {flag.code: flag.detail for flag in outcome.flags}


def plot_of(outcome: Outcome) -> Plot:
    """The chart of a run that has one."""
    assert outcome.plot is not None
    return outcome.plot
