"""What a reader of a thermal run should know beside its values."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measurements.intake.columns import FloatArray
from measurements.kinds.base import Flag, Setup
from measurements.kinds.instruments import instrument_flags
from measurements.kinds.slips import long_record
from measurements.kinds.thermal.power import reduction_text
from measurements.kinds.thermal.soak import SHORTEST_SOAK_MIN, STILL_RISING_K_PER_H, Soak

# A curve from ambient does not describe a body that is already warm. The project's own bound.
_WARM_START_K = 3.0
# No part of a powered adapter is colder than the air around it, but for drift of the sensors.
_COLD_K = 5.0


def remarks(soak: Soak, setup: Setup) -> tuple[Flag, ...]:
    """Every flag of the run, each code at most once."""
    return (
        *_ambient(soak),
        *_power(soak),
        *_length(soak),
        *long_record(60 * soak.duration_min),
        *_cold(soak),
        *_curves(soak),
        *_gaps(soak),
        *instrument_flags(setup, quantities=("temperature",)),
    )


def _ambient(soak: Soak) -> Iterator[Flag]:
    if soak.ambient_off:
        yield Flag(
            "ambient-off",
            "warning",
            f"{soak.ambient_off} Surface temperature, settled temperature and thermal headroom are "
            "listed apart; they are not recalculated to another ambient.",
        )


def _power(soak: Soak) -> Iterator[Flag]:
    power = soak.power
    if power is None:
        return
    if power.unclear:
        yield Flag(
            "power-unclear",
            "note",
            f"Whether the output power was reduced cannot be told: {power.unclear}.",
        )
    if power.throttled:
        first, *later = power.throttled
        again = f" It was reduced {len(later) + 1} times in all." if later else ""
        yield Flag(
            "throttled",
            "warning",
            f"The output power was reduced {reduction_text(power, first)}.{again} Temperatures are "
            "those of the reduced output; at full power they would be higher.",
        )
    if power.off is not None:
        yield Flag(
            "output-off",
            "warning",
            f"The output power fell {reduction_text(power, power.off)}. The record does not tell "
            "whether the adapter switched off or the load was removed.",
        )
    if power.partial:
        yield Flag(
            "partial-load",
            "warning",
            f"{power.partial} Temperatures, rise, headroom and power are listed apart.",
        )
    if power.relative_uncertainty is None:
        yield Flag(
            "no-power-instrument",
            "note",
            "No instrument is named for output voltage or output current; the accuracy of the "
            "output power is missing from its uncertainty.",
        )


def _length(soak: Soak) -> Iterator[Flag]:
    if soak.is_short:
        yield Flag(
            "short-soak",
            "warning",
            f"The record is {soak.duration_min:.4g} min long; under {SHORTEST_SOAK_MIN:g} min the "
            "highest reading may lie well below the final temperature.",
        )
    if soak.still_rising:
        steep = ", ".join(f"{name} {slope:.1f} K/h" for name, slope in soak.still_rising.items())
        yield Flag(
            "still-rising",
            "note",
            f"Over the last ten minutes sensors rose faster than {STILL_RISING_K_PER_H:g} K/h: "
            f"{steep}. Their final temperature lies higher.",
        )


def _cold(soak: Soak) -> Iterator[Flag]:
    ambient = soak.ambient.mean
    cold = [
        f"{sensor.name} ({float(np.nanmax(sensor.readings)):.3g} °C)"
        for sensor in soak.sensors
        if ambient is not None and float(np.nanmax(sensor.readings)) < ambient - _COLD_K
    ]
    if cold:
        yield Flag(
            "colder-than-ambient",
            "warning",
            f"Sensors never came near the ambient of {ambient:.3g} °C: {', '.join(cold)}. Check "
            "the unit of their columns, and that they were connected.",
        )


def _curves(soak: Soak) -> Iterator[Flag]:
    if soak.unfitted:
        reasons = "; ".join(f"{name}: {reason}" for name, reason in soak.unfitted.items())
        yield Flag(
            "no-settled-fit",
            "note",
            f"No settled temperature and time constant could be fitted. {reasons}.",
        )
    warm = [
        f"{sensor.name} ({first - soak.ambient.mean:.1f} K)"
        for sensor in soak.sensors
        if soak.ambient.mean is not None
        and sensor.name in soak.fits
        and (first := _first_reading(sensor.readings)) - soak.ambient.mean > _WARM_START_K
    ]
    if warm:
        yield Flag(
            "warm-start",
            "warning",
            f"The record starts more than {_WARM_START_K:g} K above ambient: {', '.join(warm)}. "
            "The fitted curve starts at ambient, so that settled temperature and time constant "
            "are off.",
        )


def _gaps(soak: Soak) -> Iterator[Flag]:
    gaps = [
        f"{sensor.name} {blanks} of {len(sensor.readings)}"
        for sensor in soak.sensors
        if (blanks := int(np.count_nonzero(np.isnan(sensor.readings))))
    ]
    if gaps:
        yield Flag("gaps", "note", f"Blank readings were left out: {', '.join(gaps)}.")


def _first_reading(readings: FloatArray) -> float:
    return float(readings[~np.isnan(readings)][0])
