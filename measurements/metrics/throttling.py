"""Whether a supply lowers its output power while it is loaded, and what it delivers in the end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.uncertainty import standard_error

# All of these are the project's own numbers; that a fall has to last is common practice.
LEVEL_WINDOW_S = 120.0
HELD_SHARE = 0.95
SUSTAINED_S = 60.0

# A port negotiates before it delivers: what lies below this share of the largest reading is not
# the load yet.
_LOADED_SHARE = 0.1
_FEWEST_READINGS = 3


class LevelError(ValueError):
    """The record does not show the level from which a reduction would count."""


@dataclass(frozen=True, slots=True)
class Reduction:
    """A stretch of a record in which the output power is lower than it was at first.

    Parameters
    ----------
    onset : float
        Time of the first reading below the bound. [s]
    held_until : float
        Time of the reading before it, the last that was not below. [s]
    level : float
        Median of the readings from the onset to the recovery or to the end. [W]
    recovery : float or None
        Time of the first reading that is back above the bound to stay, None when there is none.
        [s]
    """

    onset: float
    held_until: float
    level: float
    recovery: float | None


@dataclass(frozen=True, slots=True)
class PowerCourse:
    """How the output power went over a record.

    Parameters
    ----------
    load_on : float
        Time of the first reading under load. [s]
    level : float
        Median output power of the first two minutes from there. [W]
    reductions : tuple of Reduction
        Every sustained fall below 95 % of the level, in the order of time. [W]
    """

    load_on: float
    level: float
    reductions: tuple[Reduction, ...]


@dataclass(frozen=True, slots=True)
class ClosingMean:
    """Mean of the last stretch of a record.

    Parameters
    ----------
    mean : float
        Mean over time. [unit of the readings]
    standard_error : float
        ``s/√n`` of the readings in the stretch. [unit of the readings]
    """

    mean: float
    standard_error: float


def power_course(time: FloatArray, *, power: FloatArray) -> PowerCourse:
    r"""Level at which a supply begins, and where its output power falls below that and stays.

    Parameters
    ----------
    time : ndarray of float
        Rising times of the readings. [s]
    power : ndarray of float
        Output power at those times, NaN where there is no reading. [W]

    Returns
    -------
    course : PowerCourse
        Initial level [W] and the reductions, with their times. [s]

    Raises
    ------
    LevelError
        If no reading is above zero, or fewer than three lie in the two minutes that give the
        level.

    Notes
    -----
    The load is on from the first reading above a tenth of the largest one. The level is the median
    of the following two minutes, so that negotiation and single spikes do not move it. A reduction
    begins with the first of readings that are all below 95 % of the level over at least 60 s,
    after that bound was reached once, and ends with the first of readings that are all at or
    above it over at least 60 s. Shorter falls and shorter returns do not count.

    .. math:: P(t) < 0.95 \cdot \operatorname{median}_{0 \le t' - t_{on} \le 120\,s} P(t')

    References
    ----------
    .. [1] `common-practice`: a fall of the output power under constant load that lasts. The
       numbers are the project's own.

    Examples
    --------
    >>> time = np.arange(0.0, 3600.0, 10.0)
    >>> course = power_course(time, power=np.where(time < 1380, 100.0, 65.0))
    >>> course.level, course.reductions[0].onset, course.reductions[0].level
    (100.0, 1380.0, 65.0)
    """
    read = np.isfinite(power)
    times, powers = np.asarray(time[read]), np.asarray(power[read])
    largest = float(powers.max(initial=0.0))
    if largest <= 0:
        raise LevelError("no reading of the output power is above zero")
    first = int(np.argmax(powers > _LOADED_SHARE * largest))
    load_on = float(times[first])
    opening = powers[first:][times[first:] <= load_on + LEVEL_WINDOW_S]
    if opening.size < _FEWEST_READINGS:
        raise LevelError(
            f"fewer than {_FEWEST_READINGS} readings of the output power lie in the first "
            f"{LEVEL_WINDOW_S / 60:g} min under load"
        )
    level = float(np.median(opening))
    bound = HELD_SHARE * level
    reached = first + int(np.argmax(powers[first:] >= bound))
    return PowerCourse(
        load_on=load_on,
        level=level,
        reductions=tuple(_reductions(times[reached:], power=powers[reached:], bound=bound)),
    )


def closing_mean(time: FloatArray, *, value: FloatArray, window: float) -> ClosingMean | None:
    r"""Mean over time of the last stretch of a record.

    Parameters
    ----------
    time : ndarray of float
        Rising times of the readings. [s]
    value : ndarray of float
        Readings at those times, NaN where there is none. [any unit]
    window : float
        Length of the stretch, which ends with the last time. [s]

    Returns
    -------
    closing : ClosingMean or None
        Mean and its standard error, None when the stretch holds fewer than three readings or they
        cover less than half of it. [unit of `value`]

    Notes
    -----
    .. math:: \bar P = \frac{1}{t_n - t_1} \int_{t_1}^{t_n} P \, dt

    by trapezoids, so that unevenly spaced readings do not count more where they are dense.

    References
    ----------
    .. [1] `common-practice`: energy over time by trapezoids over the real times.
    .. [2] `jcgm-100`, 2008, 4.2.3: scatter of repeated readings.

    Examples
    --------
    >>> time = np.array([0.0, 300.0, 310.0, 600.0])
    >>> closing_mean(time, value=np.array([10.0, 10.0, 20.0, 20.0]), window=600.0).mean
    14.916666666666666
    """
    if not len(time):
        return None
    kept = np.isfinite(value) & (time >= time[-1] - window)
    times, values = time[kept], value[kept]
    if times.size < _FEWEST_READINGS or times[-1] - times[0] < window / 2:
        return None
    mean = float(np.trapezoid(values, times)) / float(times[-1] - times[0])
    return ClosingMean(mean=mean, standard_error=standard_error(values))


def _reductions(time: FloatArray, *, power: FloatArray, bound: float) -> Iterator[Reduction]:
    """Every sustained stretch below the bound; the first reading is not below."""
    begun: int | None = None
    for start in _sustained(time, power=power, bound=bound):
        is_below = bool(power[start] < bound)
        if is_below and begun is None:
            begun = start
        elif not is_below and begun is not None:
            yield _reduction(time, power=power, start=begun, stop=start)
            begun = None
    if begun is not None:
        yield _reduction(time, power=power, start=begun, stop=None)


def _sustained(time: FloatArray, *, power: FloatArray, bound: float) -> Iterator[int]:
    """Begins of the lasting runs of readings that are all below, or all not below, the bound."""
    turns = np.flatnonzero(np.diff(power < bound)) + 1
    edges = [0, *turns.tolist(), len(power)]
    for start, stop in pairwise(edges):
        if time[stop - 1] - time[start] >= SUSTAINED_S:
            yield start


def _reduction(time: FloatArray, *, power: FloatArray, start: int, stop: int | None) -> Reduction:
    return Reduction(
        onset=float(time[start]),
        held_until=float(time[start - 1]),
        level=float(np.median(power[start:stop])),
        recovery=None if stop is None else float(time[stop]),
    )
