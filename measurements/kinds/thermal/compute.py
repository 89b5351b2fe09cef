"""From a checked thermal record to values, flags, verdicts and a trace."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Condition, Details, Measured, Outcome, Setup
from measurements.kinds.thermal.figure import plot_of, trace_of
from measurements.kinds.thermal.headroom import (
    headroom_facts,
    headroom_listing,
    headroom_matrix,
)
from measurements.kinds.thermal.remarks import remarks
from measurements.kinds.thermal.sensors import Sensor
from measurements.kinds.thermal.soak import Soak, soak_of
from measurements.kinds.thermal.sustained import power_facts, power_values
from measurements.kinds.thermal.verdicts import verdicts_of
from measurements.metrics.uncertainty import (
    ErrorSource,
    accuracy_uncertainty,
    propagate,
    rectangular,
    root_sum_square,
)


def measure(table: Table, setup: Setup) -> Outcome:
    """Every value that the record supports; `check` must have found nothing."""
    soak = soak_of(table, setup)
    surfaces = tuple(_surface(sensor, soak=soak, line=setup.line) for sensor in soak.sensors)
    warmest = max(surfaces, key=lambda measured: measured.value)
    return Outcome(
        values=(
            replace(warmest, condition=Condition(line=setup.line)),
            *surfaces,
            *_rise(soak, line=setup.line),
            *_settling(soak, line=setup.line),
            *_closing(soak, line=setup.line),
            _headroom(soak, line=setup.line),
            *power_values(soak, line=setup.line),
        ),
        flags=remarks(soak, setup),
        verdicts=verdicts_of(surfaces, soak=soak),
        trace=trace_of(table, soak=soak),
        plot=plot_of(soak),
        details=Details(
            facts={"power": power_facts(soak), "headroom": headroom_facts(soak)},
            listings=(headroom_listing(soak),),
            matrices=(headroom_matrix(soak),),
        ),
    )


def _surface(sensor: Sensor, *, soak: Soak, line: str) -> Measured:
    return Measured(
        metric="surface-temperature",
        value=sensor.highest,
        standard_uncertainty=_instrument(sensor.highest, soak=soak),
        condition=Condition(line=line, sensor=sensor.name),
        apart=soak.apart,
    )


def _rise(soak: Soak, *, line: str) -> tuple[Measured, ...]:
    """Highest difference from the ambient of the same moment, or of the form."""
    if soak.ambient.mean is None:
        return ()
    values = {"surface": np.vstack([sensor.readings for sensor in soak.sensors])}
    logged = soak.ambient.series
    room = np.array([soak.ambient.mean]) if logged is None else logged

    def highest_rise(values: Mapping[str, FloatArray]) -> float:
        return float(np.nanmax(values["surface"] - values.get("ambient", room)))

    if logged is not None:
        # Two sensors, each with an error of its own, though one logger reads them both: an
        # error that they share would cancel here and make the rise look exact.
        values["ambient"] = logged
    sources = [
        ErrorSource(quantity=quantity, uncertainty=uncertainty)
        for quantity, readings in values.items()
        for uncertainty in _uncertainties(readings, soak=soak)
    ]
    return (
        Measured(
            metric="temperature-rise",
            value=highest_rise(values),
            standard_uncertainty=propagate(highest_rise, values=values, sources=sources),
            condition=Condition(line=line),
            apart=soak.partial,
        ),
    )


def _settling(soak: Soak, *, line: str) -> tuple[Measured, ...]:
    """Final temperature and time constant of every sensor that has a curve."""
    values: list[Measured] = []
    for name, fit in soak.fits.items():
        condition = Condition(line=line, sensor=name)
        settled = soak.settled[name]
        values += (
            Measured(
                metric="settled-temperature",
                value=settled,
                # The curve goes along with the instrument's offset and gain, so that its
                # error at the final value adds to the scatter of the fit.
                standard_uncertainty=root_sum_square(
                    (_instrument(settled, soak=soak), fit.rise_standard_error)
                ),
                condition=condition,
                apart=soak.apart,
            ),
            Measured(
                metric="time-constant",
                value=fit.time_constant / 60,
                standard_uncertainty=fit.time_constant_standard_error / 60,
                condition=condition,
            ),
        )
    return tuple(values)


def _closing(soak: Soak, *, line: str) -> Iterator[Measured]:
    """How fast every sensor still rose or fell over the last ten minutes."""
    percent = 0.0 if soak.accuracy is None else soak.accuracy.reading_percent
    for name, fitted in soak.closing.items():
        yield Measured(
            metric="final-slope",
            value=fitted.slope,
            # An offset of the instrument does not tilt the line; its gain does.
            standard_uncertainty=root_sum_square(
                (fitted.slope_error, rectangular(percent / 100 * abs(fitted.slope)))
            ),
            condition=Condition(line=line, sensor=name),
            apart=soak.partial,
        )


def _headroom(soak: Soak, *, line: str) -> Measured:
    tightest = min(soak.sensors, key=lambda sensor: sensor.headroom)
    return Measured(
        metric="thermal-headroom",
        value=tightest.headroom,
        standard_uncertainty=_instrument(tightest.highest, soak=soak),
        condition=Condition(line=line),
        apart=soak.apart,
    )


def _instrument(temperature: float, *, soak: Soak) -> float:
    """Standard uncertainty [K] of a reading [°C] from the instrument, 0 without one."""
    found = _uncertainties(np.array([temperature]), soak=soak)
    return root_sum_square(float(uncertainty[0]) for uncertainty in found)


def _uncertainties(readings: FloatArray, *, soak: Soak) -> tuple[FloatArray, ...]:
    """Standard uncertainty [K] of every reading [°C] from the instrument; empty without one."""
    if soak.accuracy is None:
        return ()
    return (
        accuracy_uncertainty(
            readings,
            reading_percent=soak.accuracy.reading_percent,
            fixed=soak.accuracy.fixed,
        ),
    )
