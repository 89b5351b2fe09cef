"""How far two measured curves lie apart where both are known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.gaps import BoolArray
from measurements.metrics.interval_means import interval_means

WHOLE_STEPS = 100


@dataclass(frozen=True, slots=True)
class CurveDifference:
    """Curve a minus curve b over the stretch that both cover.

    Parameters
    ----------
    start, end : float
        First and last x at which both are known. [unit of x]
    covered : float
        Length of x in between without the gaps of either. [unit of x]
    largest : float
        Largest absolute difference. [unit of y]
    largest_at : float
        Lowest x at which it occurs. [unit of x]
    mean_absolute : float
        Mean of the absolute difference. [unit of y]
    mean : float
        Mean of the difference, positive where a lies higher. [unit of y]
    area : float
        Area between the curves. [unit of x times unit of y]
    """

    start: float
    end: float
    covered: float
    largest: float
    largest_at: float
    mean_absolute: float
    mean: float
    area: float


def compare_curves(
    x_a: FloatArray, y_a: FloatArray, x_b: FloatArray, y_b: FloatArray
) -> CurveDifference | None:
    r"""Differences of two curves of straight lines between their points.

    Parameters
    ----------
    x_a : ndarray of float
        Points of curve a, increasing. [unit of x]
    y_a : ndarray of float
        Its values; NaN breaks the curve, so that no line is drawn to either neighbour.
        [unit of y]
    x_b : ndarray of float
        Points of curve b, increasing. [unit of x]
    y_b : ndarray of float
        Its values, NaN likewise. [unit of y]

    Returns
    -------
    difference : CurveDifference or None
        None when there is no stretch of x on which both are known.
        [units of x and y]

    Raises
    ------
    ValueError
        If an x is not finite or does not increase, or x and y differ in length.

    Notes
    -----
    Between the points of both, taken together, the difference is a straight line from d₀ to d₁
    over h, so that every result is exact. Where it keeps its sign the area is h·|d₀ + d₁|/2;
    where it changes, two triangles make

    .. math:: \frac{h}{2} \, \frac{d_0^2 + d_1^2}{|d_0| + |d_1|}

    References
    ----------
    .. [1] `common-practice`: linear interpolation on the points of both curves.

    Examples
    --------
    >>> x = np.array([0.0, 2.0])
    >>> found = compare_curves(x, np.array([0.0, 2.0]), x, np.array([1.0, 1.0]))
    >>> found.area, found.largest, found.largest_at, found.mean
    (1.0, 1.0, 0.0, 0.0)
    """
    curves = _curve(x_a, y_a), _curve(x_b, y_b)
    if any(len(x) < 2 for x, _ in curves):
        return None
    low = max(float(x[0]) for x, _ in curves)
    high = min(float(x[-1]) for x, _ in curves)
    points = np.unique(np.concatenate([x for x, _ in curves]))
    points = points[(points >= low) & (points <= high)]
    left, right = points[:-1], points[1:]
    a, b = (_ends(x, y=y, left=left, right=right) for x, y in curves)
    begins, ends = a[0] - b[0], a[1] - b[1]
    known = np.isfinite(begins) & np.isfinite(ends)
    if not np.any(known):
        return None
    left, right, begins, ends = left[known], right[known], begins[known], ends[known]
    lengths = right - left
    covered = float(lengths.sum())
    area = float(np.sum(lengths * _mean_absolute(begins, ends=ends)))
    sizes = np.abs(np.concatenate((begins, ends)))
    largest = float(sizes.max())
    places = np.concatenate((left, right))[sizes == largest]
    return CurveDifference(
        start=float(left[0]),
        end=float(right[-1]),
        covered=covered,
        largest=largest,
        largest_at=float(places.min()),
        mean_absolute=area / covered,
        mean=float(np.sum(lengths * (begins + ends) / 2)) / covered,
        area=area,
    )


def by_level(
    time: FloatArray, *, level: FloatArray, y: FloatArray, joined: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """A record over time as a curve over the level that it climbs.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]
    level : ndarray of float
        Level at each reading, 0 to 100, NaN where not known. [%]
    y : ndarray of float
        The readings. [unit of y]
    joined : ndarray of bool
        Which intervals are no gaps, one fewer than readings; nothing in a gap counts. [-]

    Returns
    -------
    steps : ndarray of float
        Lower ends of the whole-percent steps that the record passes, increasing. [%]
    means : ndarray of float
        Mean over time from the first crossing of each step's lower end to that of its upper
        end; NaN for a step that a gap swallowed. [unit of y]

    Notes
    -----
    Between readings the level is a straight line. A level that falls back stays in the step that
    it had reached, so that the curve has one value for each level. What follows the first 100 %
    belongs to no step. The step in which the record ends is that of its part.

    References
    ----------
    .. [1] `common-practice`: the first crossing counts.

    Examples
    --------
    >>> watts = np.array([60.0, 58.0, 56.0, 54.0])
    >>> level = np.array([10.0, 10.5, 11.0, 10.9])
    >>> steps, means = by_level(np.arange(4.0), level=level, y=watts, joined=np.full(3, True))
    >>> steps.tolist(), means.tolist()
    ([10.0, 11.0], [58.0, 55.0])
    """
    known = np.flatnonzero(np.isfinite(level))
    if known.size == 0:
        return np.zeros(0), np.zeros(0)
    begin = int(known[0])
    moments = time[begin:]
    climbed = np.maximum.accumulate(np.interp(moments, time[known], level[known]))
    edges = _first_crossings(moments, climbed=climbed)
    means, _ = interval_means(moments, y=y[begin:], joined=joined[begin:], edges=edges)
    passed = np.diff(edges) > 0
    return np.flatnonzero(passed).astype(np.float64), means[passed]


def _first_crossings(time: FloatArray, *, climbed: FloatArray) -> FloatArray:
    """When a level that never falls reached 0, 1, … 100 %; the last moment if it never did."""
    targets = np.arange(WHOLE_STEPS + 1.0)
    first = np.searchsorted(climbed, targets, side="left")
    after = np.clip(first, 1, len(time) - 1) if len(time) > 1 else np.zeros_like(first)
    before = np.maximum(after - 1, 0)
    rises = climbed[after] - climbed[before]
    shares = np.divide(targets - climbed[before], rises, out=np.ones_like(rises), where=rises > 0)
    moments = time[before] + np.clip(shares, 0, 1) * (time[after] - time[before])
    moments = np.where(first == 0, time[0], moments)
    moments = np.where(first == len(time), time[-1], moments)
    return np.asarray(np.maximum.accumulate(moments), dtype=np.float64)


def _curve(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    points, values = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if points.shape != values.shape or points.ndim != 1:
        raise ValueError("A curve needs as many x as y.")
    if not np.all(np.isfinite(points)) or np.any(np.diff(points) <= 0):
        raise ValueError("The x of a curve must be finite and increase from point to point.")
    return points, values


def _ends(
    x: FloatArray, *, y: FloatArray, left: FloatArray, right: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The curve at both ends of every interval, NaN where its own line there is broken."""
    line = np.clip(np.searchsorted(x, left, side="right") - 1, 0, len(x) - 2)
    ends = []
    for at in (left, right):
        share = (at - x[line]) / (x[line + 1] - x[line])
        ends.append(y[line] * (1 - share) + y[line + 1] * share)
    return ends[0], ends[1]


def _mean_absolute(begins: FloatArray, *, ends: FloatArray) -> FloatArray:
    """Mean of |d| on a straight line from d₀ to d₁."""
    low, high = np.abs(begins), np.abs(ends)
    total = low + high
    crosses = (np.sign(begins) * np.sign(ends) < 0) & (total > 0)
    shares = np.divide(low, total, out=np.ones_like(total), where=crosses)
    # Two triangles: their heights weighted by the share of the interval each takes.
    return np.asarray(
        np.where(crosses, (low * shares + high * (1 - shares)) / 2, total / 2), dtype=np.float64
    )
