"""How far repeats of one measurement lie apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

# Factor between the standard deviation and the limit of ISO 5725: from memory.
LIMIT_FACTOR = 2.8


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Scatter of repeats, pooled over several things that were each measured repeatedly.

    Parameters
    ----------
    deviation : float
        Repeatability standard deviation. [unit of the values]
    degrees_of_freedom : int
        How many differences it rests on. [-]
    limit : float
        Repeatability limit: two repeats differ by more in about 5 % of cases.
        [unit of the values]
    """

    deviation: float
    degrees_of_freedom: int
    limit: float


def repeatability(groups: Sequence[Sequence[float]]) -> Repeatability | None:
    r"""Pooled standard deviation of repeats.

    Parameters
    ----------
    groups : sequence of sequence of float
        For each thing that was measured the values of its repeats. [any unit]

    Returns
    -------
    scatter : Repeatability or None
        None when nothing was repeated. [unit of the values]

    Notes
    -----
    .. math:: s_r^2 = \frac{\sum_i (n_i - 1) s_i^2}{\sum_i (n_i - 1)}, \quad r = 2.8 \, s_r

    The terms are those of ISO 5725 (repeatability standard deviation and repeatability limit);
    the factor 2.8, which is 1.96·√2 rounded up, is from memory and not verified against the
    published text. With few degrees of freedom both are themselves uncertain.

    References
    ----------
    .. [1] `jcgm-100`, 2008: a pooled estimate of variance (clause 4.2.4, from memory).

    Examples
    --------
    >>> found = repeatability([[60.0, 62.0], [45.0, 45.0]])
    >>> found.deviation, found.degrees_of_freedom
    (1.0, 2)
    """
    squares, degrees = 0.0, 0
    for group in groups:
        values = np.asarray(group, dtype=np.float64)
        if values.size > 1:
            # From the first repeat on: equal repeats have no scatter, not even that of rounding.
            offsets = values - values[0]
            squares += float(np.sum(np.square(offsets - offsets.mean())))
            degrees += values.size - 1
    if degrees == 0:
        return None
    deviation = math.sqrt(squares / degrees)
    return Repeatability(deviation, degrees, LIMIT_FACTOR * deviation)
