"""One soak: sensors, ambient, output power, and what each sensor's record shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Accuracy, Setup
from measurements.kinds.thermal.power import CLOSING_S, OutputPower, output_power_of
from measurements.kinds.thermal.sensors import Ambient, Sensor, ambient_of, sensors_of
from measurements.metrics.exponential import (
    ExponentialApproach,
    FitError,
    fit_exponential_approach,
)
from measurements.metrics.regression import StraightLine, straight_line
from measurements.standards.iec_62368_1_2018 import AMBIENT_C

# The width is the project's own: the standard names 25 °C without one.
AMBIENT_TOLERANCE_K = 2.0

# A soak is planned for an hour; a logger stopped a little early is no fault.
SHORTEST_SOAK_MIN = 55.0

# A body that rises by less than a kelvin in ten minutes is commonly called settled (common
# practice).
STILL_RISING_K_PER_H = 6.0

_FEWEST_READINGS = 3

# A time constant beyond this many record lengths belongs to a nearly straight line, and where
# that would settle is a guess. The project's own bound.
_LONGEST_TIME_CONSTANT = 5.0


@dataclass(frozen=True, slots=True)
class Soak:
    """What the record of a soak holds.

    `time_s` counts from the first row [s]. `fits` has the curve of every sensor that settles,
    `unfitted` the reason why for every other. `closing` has the straight line [K/h] through the
    last ten minutes of every sensor that was read then. `power` is None where the output power was
    not logged. `accuracy` is that of the instrument that counts.
    """

    time_s: FloatArray
    sensors: tuple[Sensor, ...]
    ambient: Ambient
    fits: Mapping[str, ExponentialApproach]
    unfitted: Mapping[str, str]
    closing: Mapping[str, StraightLine]
    power: OutputPower | None
    accuracy: Accuracy | None

    @property
    def duration_min(self) -> float:
        """Time from the first to the last row [min]."""
        return float(self.time_s[-1]) / 60

    @property
    def settled(self) -> Mapping[str, float]:
        """Sensor → temperature [°C] that its curve approaches."""
        if self.ambient.mean is None:
            return {}
        return {name: self.ambient.mean + fit.rise for name, fit in self.fits.items()}

    @property
    def is_short(self) -> bool:
        """Whether the record ends before a soak is long enough."""
        return self.duration_min < SHORTEST_SOAK_MIN

    @property
    def still_rising(self) -> Mapping[str, float]:
        """Sensor → slope [K/h] of its last ten minutes, where it is steeper than settled."""
        return {
            name: line.slope
            for name, line in self.closing.items()
            if line.slope > STILL_RISING_K_PER_H
        }

    @property
    def partial(self) -> str:
        """Why nothing here is what full load would give, or an empty text."""
        return "" if self.power is None else self.power.partial

    @property
    def apart(self) -> str:
        """Why absolute temperatures cannot be compared with others, or an empty text."""
        return " ".join(filter(None, (self.ambient_off, self.partial)))

    @property
    def ambient_off(self) -> str:
        """That the room was not at the temperature of the standard, or an empty text."""
        mean = self.ambient.mean
        around = f"{AMBIENT_C:g} ± {AMBIENT_TOLERANCE_K:g} °C"
        if mean is None:
            return f"The ambient was not recorded; it should be {around}."
        if abs(mean - AMBIENT_C) > AMBIENT_TOLERANCE_K:
            return f"The ambient was {mean:.4g} °C, outside {around}."
        return ""


def soak_of(table: Table, setup: Setup) -> Soak:
    """The soak of a checked table."""
    time_s = table["time_s"] - table["time_s"][0]
    sensors = sensors_of(table, setup)
    ambient = ambient_of(table, setup)
    power = output_power_of(table, setup, time_s=time_s)
    fits: dict[str, ExponentialApproach] = {}
    unfitted: dict[str, str] = {}
    for sensor in sensors:
        try:
            fits[sensor.name] = _settling_curve(sensor, time_s=time_s, ambient=ambient, power=power)
        except FitError as reason:
            unfitted[sensor.name] = str(reason)
    return Soak(
        time_s=time_s,
        sensors=sensors,
        ambient=ambient,
        fits=fits,
        unfitted=unfitted,
        closing={
            sensor.name: line
            for sensor in sensors
            if (line := _closing_line(sensor, time_s=time_s)) is not None
        },
        power=power,
        accuracy=next(iter(setup.accuracies_of("temperature")), None),
    )


def _closing_line(sensor: Sensor, *, time_s: FloatArray) -> StraightLine | None:
    """The line through the last ten minutes, None when they hardly hold readings."""
    kept = ~np.isnan(sensor.readings) & (time_s >= time_s[-1] - CLOSING_S)
    hours = time_s[kept] / 3600
    if time_s[-1] < CLOSING_S or hours.size < _FEWEST_READINGS:
        return None
    if 3600 * (hours[-1] - hours[0]) < CLOSING_S / 2:
        return None
    return straight_line(hours, y=sensor.readings[kept])


def _settling_curve(
    sensor: Sensor, *, time_s: FloatArray, ambient: Ambient, power: OutputPower | None
) -> ExponentialApproach:
    """The sensor's curve from ambient. Raises `FitError` when the record does not bear one."""
    if ambient.mean is None:
        raise FitError("the ambient, from which the curve starts, was not recorded")
    if power is not None and (power.throttled or power.off):
        raise FitError("the output power did not stay the same")
    read = ~np.isnan(sensor.readings)
    fit = fit_exponential_approach(time_s[read], value=sensor.readings[read], start=ambient.mean)
    if fit.time_constant > _LONGEST_TIME_CONSTANT * float(time_s[-1]):
        raise FitError("the record is too short to show where the temperature settles")
    if fit.time_constant < float(np.median(np.diff(time_s))):
        raise FitError("the sensor is settled from the first readings on")
    if fit.time_constant_standard_error > fit.time_constant:
        raise FitError("the readings scatter more than they follow the curve")
    return fit
