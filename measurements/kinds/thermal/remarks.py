"""What a reader of a thermal run should know beside its values."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measurements.intake.columns import FloatArray
from measurements.kinds.base import Flag, Setup
from measurements.kinds.thermal.soak import Soak

# A soak is planned for an hour; a logger stopped a little early is no fault.
SHORTEST_SOAK_MIN = 55.0

# A curve from ambient does not describe a body that is already warm. The project's own bound.
_WARM_START_K = 3.0


def remarks(soak: Soak, setup: Setup) -> tuple[Flag, ...]:
    """Every flag of the run, each code at most once."""
    return (
        *_ambient(soak),
        *_length(soak),
        *_curves(soak),
        *_gaps(soak),
        *_instruments(setup),
    )


def _ambient(soak: Soak) -> Iterator[Flag]:
    if soak.apart:
        yield Flag(
            "ambient-off",
            "warning",
            f"{soak.apart} Surface temperature and thermal headroom are listed apart; they are "
            "not recalculated to another ambient.",
        )


def _length(soak: Soak) -> Iterator[Flag]:
    if soak.duration_min < SHORTEST_SOAK_MIN:
        yield Flag(
            "short-soak",
            "warning",
            f"The record is {soak.duration_min:.4g} min long; under {SHORTEST_SOAK_MIN:g} min the "
            "highest reading may lie well below the final temperature.",
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


def _instruments(setup: Setup) -> Iterator[Flag]:
    named = setup.accuracies_of("temperature")
    if not named:
        yield Flag(
            "no-instrument",
            "warning",
            "No instrument is named for temperature; its accuracy is missing from the "
            "uncertainties, which are too small by it.",
        )
    elif len(named) > 1:
        yield Flag(
            "several-instruments",
            "note",
            f"Several instruments are named for temperature; the first counts: {named[0].name}.",
        )


def _first_reading(readings: FloatArray) -> float:
    return float(readings[~np.isnan(readings)][0])
