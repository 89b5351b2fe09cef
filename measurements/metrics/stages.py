"""Stretches of constant power in a log, found where the power changes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray

from measurements.metrics import FloatArray
from measurements.metrics.gaps import BoolArray, pieces

# What makes two stages two: the project's own choice, as is all that follows.
SHORTEST_STAGE_S = 60.0
SMALLEST_STEP_W = 1.0
SMALLEST_STEP_SHARE = 0.03
# Power that takes up to a minute to settle at a level, or to leave it, is no part of the stage.
LONGEST_SETTLING_S = 60.0
# A stage is steady if it drifts by less than half a step in ten minutes.
DRIFT_PERIOD_S = 600.0

_BIN_S = 10.0
_MOST_BINS = 1500
_PENALTY_FACTOR = 3.0
# Share of the smallest step that counts as noise in a log without any.
_NOISE_FLOOR = 0.1
# A reading has settled if it is off by no more than so many deviations of all readings.
_SETTLED_DEVIATIONS = 3.0
# Standard deviation of a normal quantity over its median absolute deviation.
_NORMAL_OVER_MEDIAN = 1.4826


@dataclass(frozen=True, slots=True)
class Stage:
    """A stretch of a log between two changes of power.

    Parameters
    ----------
    start, end : float
        Where it lies. [s]
    mean : float
        Power over its time. [W]
    spread : float
        Standard deviation of its readings. [W]
    first, last : float
        Median of the readings in its first and in its last 10 s. [W]
    slope : float
        Of the straight line through its readings. [W/s]
    steady : bool
        Whether the power is constant: that line changes by less than half the smallest step in
        ten minutes, or over the whole stage if that is shorter. [-]
    """

    start: float
    end: float
    mean: float
    spread: float
    first: float
    last: float
    slope: float
    steady: bool


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stage with its first reading and the one after its last."""

    first: int
    stop: int
    stage: Stage


def power_stages(time: FloatArray, *, power: FloatArray, joined: BoolArray) -> tuple[Stage, ...]:
    r"""The stages of a log by change-point detection.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]
    power : ndarray of float
        The readings. [W]
    joined : ndarray of bool
        Which intervals are no gaps, one fewer than readings; no stage spans one. [-]

    Returns
    -------
    stages : tuple of Stage
        In the order of time, touching each other but for gaps and for what leads from one level
        to another within a minute; stretches shorter than a minute between gaps are left
        out. [s, W]

    Notes
    -----
    The log is thinned to medians over 10 s, or longer where it would give more than 1500. The
    changes are those that minimise the squared deviations from the mean of every stretch plus a
    penalty for each change, by the pruned exact search of the library ``ruptures``:

    .. math:: \sum_k \sum_{i \in k} (P_i - \bar P_k)^2 + 3 \, \hat\sigma^2 \ln n

    with σ from the median absolute difference of neighbours, so that steps do not count as
    noise. Stages shorter than 60 s then join the neighbour that is closer in power, and
    neighbours that differ by less than the larger of 1 W and 3 % join each other.

    Readings at either end of a stage, up to 60 s of them, that are off its median by more than
    half that step (or three deviations, if it is noisier) lead to the level and are not of it.
    What remains is steady or it is not; if it is not, nothing is taken away. What is left of a
    slope are steps of no meaning: neighbours that are not steady and lean the same way become
    one, which reaches from the steady stage before it to the one after it.

    References
    ----------
    .. [1] `common-practice`: the thresholds are this project's own.
    """
    found: list[Stage] = []
    for start, stop in pieces(joined):
        if stop - start > 1 and time[stop - 1] - time[start] >= SHORTEST_STAGE_S:
            found += _stages_of(time[start:stop], power=power[start:stop])
    return tuple(found)


def smallest_step(power: float) -> float:
    """By how much two stages must differ.

    Parameters
    ----------
    power : float
        Level of one of them. [W]

    Returns
    -------
    step : float
        The larger of 1 W and 3 % of the level. [W]

    References
    ----------
    .. [1] `common-practice`: this project's own choice.
    """
    return max(SMALLEST_STEP_W, SMALLEST_STEP_SHARE * abs(power))


def _stages_of(time: FloatArray, *, power: FloatArray) -> list[Stage]:
    starts = _bin_starts(time)
    medians = np.array([np.median(part) for part in np.split(power, starts[1:])])
    # A stage is known by its first bin; the last edge closes the last stage.
    edges = [0, *_changes(medians), len(medians)]
    begins = np.append(time[starts], time[-1])
    edges = _without_short(edges, medians=medians, begins=begins)
    edges = _without_small(edges, medians=medians)
    borders = _borders(edges, starts=starts, medians=medians, power=power)
    return _joined_slopes(
        [_piece(time, power=power, a=a, b=b) for a, b in pairwise(borders)], time, power=power
    )


def _joined_slopes(pieces_: list[_Piece], time: FloatArray, *, power: FloatArray) -> list[Stage]:
    """Steady stages as they are, and what lies between two of them as one slope a direction."""
    groups = [list(group) for _, group in groupby(pieces_, key=lambda piece: _lean(piece.stage))]
    stages: list[Stage] = []
    for number, group in enumerate(groups):
        if group[0].stage.steady:
            stages += [piece.stage for piece in group]
            continue
        a, b = group[0].first, group[-1].stop
        if number > 0 and groups[number - 1][-1].stage.steady:
            a = groups[number - 1][-1].stop
        if number + 1 < len(groups) and groups[number + 1][0].stage.steady:
            b = groups[number + 1][0].first
        stages.append(_describe(time, power=power, a=a, b=b, steady=False))
    return stages


def _piece(time: FloatArray, *, power: FloatArray, a: int, b: int) -> _Piece:
    """The readings from `a` up to `b`, without those that only lead to a steady level."""
    first, stop = _settled(time, power=power, a=a, b=b)
    core = _describe(time, power=power, a=first, b=stop)
    if core.steady:
        return _Piece(first, stop, core)
    return _Piece(a, b, _describe(time, power=power, a=a, b=b, steady=False))


def _settled(time: FloatArray, *, power: FloatArray, a: int, b: int) -> tuple[int, int]:
    """First reading at the level of the readings from `a` up to `b`, and that after the last."""
    readings = power[a:b]
    level = float(np.median(readings))
    off = np.abs(readings - level)
    noise = _SETTLED_DEVIATIONS * _NORMAL_OVER_MEDIAN * float(np.median(off))
    near = np.flatnonzero(off <= max(smallest_step(level) / 2, noise))
    first, stop = a + int(near[0]), a + int(near[-1]) + 1
    if time[first] - time[a] > LONGEST_SETTLING_S:
        first = a
    if time[b - 1] - time[stop - 1] > LONGEST_SETTLING_S:
        stop = b
    long_enough = time[stop - 1] - time[first] >= SHORTEST_STAGE_S
    return (first, stop) if long_enough else (a, b)


def _bin_starts(time: FloatArray) -> NDArray[np.intp]:
    """First reading of every bin that holds one."""
    duration = float(time[-1] - time[0])
    width = max(_BIN_S, float(np.median(np.diff(time))), duration / _MOST_BINS)
    number = np.floor((time - time[0]) / width)
    return np.concatenate(([0], np.flatnonzero(np.diff(number)) + 1))


def _changes(medians: FloatArray) -> list[int]:
    """Bins at which a new level begins."""
    count = len(medians)
    if count < 4:
        return []
    # The library costs a second of start-up, which only a charge should pay.
    from ruptures import KernelCPD  # noqa: PLC0415

    deviation = float(np.median(np.abs(np.diff(medians)))) * _NORMAL_OVER_MEDIAN / math.sqrt(2)
    level = float(np.median(medians))
    noise = max(deviation, _NOISE_FLOOR * smallest_step(level))
    scaled = (medians - level) / noise
    search = KernelCPD(kernel="linear", min_size=2).fit(scaled.reshape(-1, 1))
    found = search.predict(pen=_PENALTY_FACTOR * math.log(count))
    return [int(edge) for edge in found[:-1]]


def _without_short(edges: list[int], *, medians: FloatArray, begins: FloatArray) -> list[int]:
    """Join every stage under a minute to the neighbour closer in power, shortest first."""
    while len(edges) > 2:
        lengths = np.diff(begins[edges])
        shortest = int(np.argmin(lengths))
        if lengths[shortest] >= SHORTEST_STAGE_S:
            break
        levels = _levels(edges, medians=medians)
        sides = [side for side in (shortest - 1, shortest + 1) if 0 <= side < len(levels)]
        partner = min(sides, key=lambda side: abs(levels[side] - levels[shortest]))
        del edges[max(partner, shortest)]
    return edges


def _without_small(edges: list[int], *, medians: FloatArray) -> list[int]:
    """Join neighbours that differ by less than the smallest step, closest first."""
    while len(edges) > 2:
        levels = _levels(edges, medians=medians)
        needed = [smallest_step(max(abs(a), abs(b))) for a, b in pairwise(levels)]
        ratios = np.abs(np.diff(levels)) / needed
        closest = int(np.argmin(ratios))
        if ratios[closest] >= 1:
            break
        del edges[closest + 1]
    return edges


def _borders(
    edges: list[int], *, starts: NDArray[np.intp], medians: FloatArray, power: FloatArray
) -> list[int]:
    """First reading of every stage: within a bin of the edge, where both levels fit best."""
    levels = _levels(edges, medians=medians)
    firsts = [*starts.tolist(), len(power)]
    borders = [0]
    for edge, (before, after) in zip(edges[1:-1], pairwise(levels), strict=True):
        low = max(firsts[edge - 1], borders[-1]) + 1
        around = power[low : firsts[edge + 1] - 1]
        costs = np.concatenate(([0.0], np.cumsum((around - before) ** 2 - (around - after) ** 2)))
        borders.append(low + int(np.argmin(costs)))
    return [*borders, len(power)]


def _levels(edges: list[int], *, medians: FloatArray) -> list[float]:
    return [float(np.median(medians[a:b])) for a, b in pairwise(edges)]


def _describe(
    time: FloatArray, *, power: FloatArray, a: int, b: int, steady: bool | None = None
) -> Stage:
    """The stage of the readings from `a` up to `b`; it ends where the next one begins."""
    moments, readings = time[a:b], power[a:b]
    start, end = float(time[a]), float(time[min(b, len(time) - 1)])
    if len(moments) < 2:
        level = float(readings[0])
        return Stage(start, end, level, 0.0, level, level, slope=0.0, steady=True)
    offsets = moments - moments.mean()
    slope = float(offsets @ (readings - readings.mean())) / float(offsets @ offsets)
    mean = float(np.trapezoid(readings, moments)) / float(moments[-1] - moments[0])
    if steady is None:
        drift = abs(slope) * min(end - start, DRIFT_PERIOD_S)
        steady = drift < smallest_step(mean) / 2
    return Stage(
        start=start,
        end=end,
        mean=mean,
        spread=float(np.std(readings, ddof=1)),
        first=float(np.median(readings[moments <= start + _BIN_S])),
        last=float(np.median(readings[moments >= moments[-1] - _BIN_S])),
        slope=slope,
        steady=steady,
    )


def _lean(stage: Stage) -> float:
    """0 for a steady stage, else the sign of its slope."""
    return 0.0 if stage.steady else math.copysign(1.0, stage.slope)
