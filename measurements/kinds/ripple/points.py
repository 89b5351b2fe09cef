"""Ripple at one operating point, whether it was read off or computed from a waveform."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from measurements.intake.columns import Table
from measurements.kinds.advertised import advertised_current, advertised_outputs
from measurements.kinds.base import Accuracy, Condition, Measured, Setup
from measurements.kinds.ripple.inputs import FULL_LOAD_SHARE, no_load_limit
from measurements.metrics.uncertainty import accuracy_uncertainty

Load = Literal["none", "full"]

METRIC_OF_LOAD: dict[Load, str] = {"none": "ripple-no-load", "full": "ripple-loaded"}


@dataclass(frozen=True, slots=True)
class Point:
    """One operating point: nominal voltage [V], current [A], peak-to-peak ripple [mV].

    `load` is ``none`` or, with any load at all, ``full``; `advertised_a` [A] is the port's
    advertised current at that voltage, None when the catalogue has none.
    """

    voltage_v: float
    current_a: float
    ripple_mv: float
    load: Load
    advertised_a: float | None

    @property
    def share_percent(self) -> float:
        """Ripple as part of the nominal voltage [%]."""
        return self.ripple_mv / (10 * self.voltage_v)

    @property
    def is_partial(self) -> bool:
        """Whether the load stays well below the advertised current."""
        return (
            self.load == "full"
            and self.advertised_a is not None
            and self.current_a < FULL_LOAD_SHARE * self.advertised_a
        )


def point_of(setup: Setup, *, voltage_v: float, current_a: float, ripple_mv: float) -> Point:
    """An operating point with what the catalogue says about it."""
    unloaded = abs(current_a) < no_load_limit(setup, voltage_v=voltage_v)
    return Point(
        voltage_v=round(voltage_v, 3),
        current_a=current_a,
        ripple_mv=ripple_mv,
        load="none" if unloaded else "full",
        advertised_a=advertised_current(setup, voltage_v=voltage_v),
    )


def points_of(table: Table, setup: Setup) -> tuple[Point, ...]:
    """The points of a checked table of readings, by voltage and rising current."""
    order = np.lexsort((table["output_current_a"], np.round(table["output_nominal_v"], 3)))
    return tuple(
        point_of(
            setup,
            voltage_v=float(table["output_nominal_v"][row]),
            current_a=float(table["output_current_a"][row]),
            ripple_mv=float(table["ripple_mv_pp"][row]),
        )
        for row in order
    )


def voltages_of(points: Sequence[Point]) -> tuple[float, ...]:
    """Every nominal voltage [V] once, rising."""
    return tuple(sorted({point.voltage_v for point in points}))


def set_points(points: Sequence[Point]) -> Iterator[dict[str, float]]:
    """The planned readings that were taken: at each voltage without load, and with full load.

    Full load stands there as the advertised current, or where none is as the largest measured.
    """
    for voltage_v in voltages_of(points):
        here = [point for point in points if point.voltage_v == voltage_v]
        if any(point.load == "none" for point in here):
            yield {"output_nominal_v": voltage_v, "output_current_a": 0.0}
        full = [point for point in here if point.load == "full" and not point.is_partial]
        if full:
            most = max(full, key=lambda point: point.current_a)
            yield {
                "output_nominal_v": voltage_v,
                "output_current_a": most.advertised_a or most.current_a,
            }


def instrument_uncertainty(value: float, *, setup: Setup) -> float:
    """Standard uncertainty [mV] of a ripple [mV] from the first instrument named, 0 without."""
    accuracy = first_instrument(setup)
    if accuracy is None:
        return 0.0
    return float(
        accuracy_uncertainty(
            np.array([value]), reading_percent=accuracy.reading_percent, fixed=accuracy.fixed
        )[0]
    )


def first_instrument(setup: Setup) -> Accuracy | None:
    """The instrument whose accuracy counts, or None."""
    return next(iter(setup.accuracies_of("ripple")), None)


def peak_values(points: Sequence[Point], setup: Setup) -> Iterator[Measured]:
    """Largest peak-to-peak ripple and its share: worst over the voltages, and at each."""
    whole = Condition(line=setup.line)
    alone = one_voltage(points, setup)
    for load, metric in METRIC_OF_LOAD.items():
        loaded = [point for point in points if point.load == load]
        if loaded:
            yield _largest(metric, loaded, setup, condition=whole, apart=alone)
        for voltage_v in voltages_of(loaded):
            here = [point for point in loaded if point.voltage_v == voltage_v]
            condition = Condition(line=setup.line, output_v=voltage_v)
            yield _largest(metric, here, setup, condition=condition)
    yield _largest_share(points, setup, condition=whole, apart=alone)
    for load in METRIC_OF_LOAD:
        loaded = [point for point in points if point.load == load]
        for voltage_v in voltages_of(loaded):
            here = [point for point in loaded if point.voltage_v == voltage_v]
            condition = Condition(line=setup.line, output_v=voltage_v, load=load)
            yield _largest_share(here, setup, condition=condition)


def partial_load(points: Sequence[Point]) -> str:
    """The sentence that keeps loaded values apart, empty when every voltage was fully loaded."""
    lacking = []
    for voltage_v in voltages_of(points):
        here = [p for p in points if p.voltage_v == voltage_v and p.load == "full"]
        if here and all(point.is_partial for point in here):
            most = max(here, key=lambda point: point.current_a)
            lacking.append(f"{most.current_a:g} A of {most.advertised_a:g} A at {voltage_v:g} V")
    if not lacking:
        return ""
    return (
        f"The largest load stays below {FULL_LOAD_SHARE:.0%} of the advertised current: "
        f"{', '.join(lacking)}."
    )


def one_voltage(points: Sequence[Point], setup: Setup) -> str:
    """The sentence that keeps the worst over the voltages apart when only one was measured."""
    advertised = sorted({round(item.voltage_v, 3) for item in advertised_outputs(setup)})
    voltages = voltages_of(points)
    if len(voltages) != 1 or not set(advertised) - set(voltages):
        return ""
    listed = ", ".join(f"{voltage:g}" for voltage in advertised)
    return (
        f"Only {voltages[0]:g} V was measured, while {listed} V are advertised; this is not the "
        "worst over the voltages."
    )


def _largest(
    metric: str, points: Sequence[Point], setup: Setup, *, condition: Condition, apart: str = ""
) -> Measured:
    largest = max(point.ripple_mv for point in points)
    return Measured(
        metric=metric,
        value=largest,
        standard_uncertainty=instrument_uncertainty(largest, setup=setup),
        condition=condition,
        apart=apart or partial_load(points),
    )


def _largest_share(
    points: Sequence[Point], setup: Setup, *, condition: Condition, apart: str = ""
) -> Measured:
    largest = max(points, key=lambda point: point.share_percent)
    uncertainty = instrument_uncertainty(largest.ripple_mv, setup=setup)
    return Measured(
        metric="ripple-share",
        value=largest.share_percent,
        standard_uncertainty=uncertainty / (10 * largest.voltage_v),
        condition=condition,
        apart=apart or partial_load(points),
    )
