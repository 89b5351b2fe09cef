"""Where a voltage settles at another level: renegotiations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from measurements.metrics import FloatArray
from measurements.metrics.gaps import BoolArray, pieces

SETTLED_SAMPLES = 5


@dataclass(frozen=True, slots=True)
class Step:
    """A change from one settled level to another.

    Parameters
    ----------
    time : float
        First reading at the new level. [s]
    before, after : float
        Settled levels on both sides. [unit of the readings]
    """

    time: float
    before: float
    after: float


def settled_steps(
    time: FloatArray, *, y: FloatArray, joined: BoolArray, threshold: float
) -> tuple[Step, ...]:
    """Steps between neighbouring medians of five readings.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]
    y : ndarray of float
        The readings. [any unit]
    joined : ndarray of bool
        Which intervals are no gaps, one fewer than readings; no step is sought across one. [-]
    threshold : float
        Smallest change that counts. [unit of `y`]

    Returns
    -------
    steps : tuple of Step
        In the order of time. A change that lasts for fewer than three readings is none, nor is a
        slope that rises by less than the threshold over some ten readings.
        [s and unit of `y`]

    References
    ----------
    .. [1] `common-practice`: a median of five ignores two odd readings.

    Examples
    --------
    >>> volts = np.array([5.0] * 8 + [9.0] * 8)
    >>> settled_steps(np.arange(16.0), y=volts, joined=np.ones(15, dtype=bool), threshold=0.75)
    (Step(time=8.0, before=5.0, after=9.0),)
    """
    steps: list[Step] = []
    for start, stop in pieces(joined):
        steps += _steps_of(time[start:stop], y=y[start:stop], threshold=threshold)
    return tuple(steps)


def _steps_of(time: FloatArray, *, y: FloatArray, threshold: float) -> list[Step]:
    if len(y) < 2 * SETTLED_SAMPLES:
        return []
    medians = np.median(sliding_window_view(y, SETTLED_SAMPLES), axis=1)
    # changes[k] belongs to the border before reading k + SETTLED_SAMPLES.
    changes = medians[SETTLED_SAMPLES:] - medians[:-SETTLED_SAMPLES]
    direction = np.where(np.abs(changes) > threshold, np.sign(changes), 0.0)
    edges = np.flatnonzero(np.diff(direction)) + 1
    steps = []
    for first, stop in zip([0, *edges.tolist()], [*edges.tolist(), len(direction)], strict=True):
        if direction[first] == 0:
            continue
        borders = np.arange(first, stop) + SETTLED_SAMPLES
        jumps = np.abs(y[borders] - y[borders - 1])
        steps.append(
            Step(
                time=float(time[borders[int(np.argmax(jumps))]]),
                before=float(medians[first]),
                after=float(medians[stop - 1 + SETTLED_SAMPLES]),
            )
        )
    return steps
