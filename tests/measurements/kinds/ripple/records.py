"""Files and setups of a ripple run, built from waveforms that are known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    AdvertisedOutput,
    Condition,
    Line,
    Measured,
    Outcome,
    Plot,
    PortFacts,
    Setup,
)
from measurements.kinds.ripple import KIND

SCOPE = Accuracy("Scope", "ripple", reading_percent=3.0, fixed=1.0)
ADVERTISED = (AdvertisedOutput("", 5.0, 3.0), AdvertisedOutput("", 20.0, 5.0))
STATED: Mapping[str, Any] = {"bandwidth_mhz": 20.0, "capacitors": "10 µF and 0.1 µF"}
POINT: Mapping[str, Any] = {
    "output_nominal_v": 20.0,
    "output_current_a": 5.0,
    "capacitors": "10 µF and 0.1 µF",
}


def readings(*rows: tuple[float, float, float], **more: Sequence[float]) -> Table:
    """Rows of nominal voltage [V], current [A], ripple [mV]; the first data row is line 2."""
    values = np.array(rows, dtype=np.float64).reshape(len(rows), 3)
    return Table(
        columns={
            "output_nominal_v": values[:, 0],
            "output_current_a": values[:, 1],
            "ripple_mv_pp": values[:, 2],
            **{name: np.array(column, dtype=np.float64) for name, column in more.items()},
        },
        rows=np.arange(2, len(rows) + 2),
    )


def waveform(voltage: FloatArray | Sequence[float], *, rate: float, start: float = 0.0) -> Table:
    """Samples [V] taken at a rate [Hz]."""
    samples = np.array(voltage, dtype=np.float64)
    return Table(
        columns={"time_s": start + np.arange(len(samples)) / rate, "voltage_v": samples},
        rows=np.arange(2, len(samples) + 2),
    )


def sine(
    frequency: float, *, rate: float, seconds: float, amplitude: float, mean: float = 20.0
) -> FloatArray:
    """Samples [V] of a sine on a constant voltage."""
    time = (np.arange(round(rate * seconds)) + 0.5) / rate
    return np.asarray(mean + amplitude * np.sin(2 * np.pi * frequency * time))


def setup(
    *,
    fields: Mapping[str, Any] = STATED,
    advertised: Sequence[AdvertisedOutput] = ADVERTISED,
    port: PortFacts | None = None,
    line: Line = "high",
    mains_hz: float | None = 50.0,
    accuracies: Sequence[Accuracy] = (SCOPE,),
) -> Setup:
    return Setup(
        adapter=AdapterFacts(rated_power_w=100.0, advertised=tuple(advertised)),
        line=line,
        mains_v=230.0,
        mains_hz=mains_hz,
        port=port,
        accuracies=tuple(accuracies),
        fields=fields,
    )


def measured(table: Table, given: Setup) -> Outcome:
    """The outcome of a file that the check lets through."""
    assert KIND.check(table, given) == ()
    return KIND.measure(table, given)


def value(
    outcome: Outcome, metric: str, *, output_v: float | None = None, load: str = ""
) -> Measured:
    wanted = Condition(line="high", output_v=output_v, load=load)
    (found,) = [
        item for item in outcome.values if (item.metric, item.condition) == (metric, wanted)
    ]
    return found


def metrics_of(outcome: Outcome) -> set[str]:
    return {item.metric for item in outcome.values}


def flags_of(outcome: Outcome) -> dict[str, str]:
    """Code → detail; a code may appear once only."""
    codes = [flag.code for flag in outcome.flags]
    assert len(codes) == len(set(codes))
    return {flag.code: flag.detail for flag in outcome.flags}


def plot_of(outcome: Outcome) -> Plot:
    """The chart of a run that has one."""
    assert outcome.plot is not None
    return outcome.plot
