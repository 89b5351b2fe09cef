"""Whether a measured value meets a limit, given its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import scipy

COVERAGE_FACTOR = 2.0


@dataclass(frozen=True, slots=True)
class Decision:
    """What follows from a value, its uncertainty and a limit.

    Parameters
    ----------
    outcome : str
        ``pass``, ``fail`` or ``undecided``. [-]
    margin : float
        Distance to the limit, positive on the good side. [unit of the value]
    expanded_uncertainty : float
        U = 2 u, about 95 % coverage; the width of the guard band. [unit of the value]
    """

    outcome: Literal["pass", "fail", "undecided"]
    margin: float
    expanded_uncertainty: float


def decide(
    value: float,
    *,
    standard_uncertainty: float,
    limit: float,
    sense: Literal["at most", "at least"],
) -> Decision:
    """Judge a value against a limit with a guard band of U on both sides of it.

    Parameters
    ----------
    value : float
        Measured value, not rounded. [any unit]
    standard_uncertainty : float
        Its standard uncertainty (k = 1). [unit of `value`]
    limit : float
        The limit, itself still allowed. [unit of `value`]
    sense : str
        ``at most`` for an upper limit, ``at least`` for a lower one. [-]

    Returns
    -------
    decision : Decision
        Outcome, margin and expanded uncertainty. [unit of `value`]

    Raises
    ------
    ValueError
        If a number is NaN, or the uncertainty is negative.

    Notes
    -----
    Pass when the value lies on the good side by at least U, fail when it lies on the bad side
    by more than U, otherwise undecided: the two conditional outcomes of the non-binary rule
    [1]_ in one word. The guideline leaves the shared ends open; here a pass includes its end,
    so that a value without uncertainty that equals an inclusive limit passes.

    References
    ----------
    .. [1] `ilac-g8`, 09/2019, pages 9 and 10, non-binary statement with a guard band.

    Examples
    --------
    >>> decide(0.095, standard_uncertainty=0.005, limit=0.1, sense="at most").outcome
    'undecided'
    """
    margin = limit - value if sense == "at most" else value - limit
    # A comparison with NaN is false, so this also refuses a value or limit that is NaN.
    if not (standard_uncertainty >= 0 and abs(margin) >= 0):
        raise ValueError(
            f"Cannot judge {value} ± {standard_uncertainty} against {limit}: "
            "value and limit must be numbers, and the uncertainty zero or more."
        )
    expanded = COVERAGE_FACTOR * standard_uncertainty
    outcome: Literal["pass", "fail", "undecided"] = "undecided"
    if margin >= expanded:
        outcome = "pass"
    elif margin < -expanded:
        outcome = "fail"
    return Decision(outcome=outcome, margin=margin, expanded_uncertainty=expanded)


def coverage_factor(degrees_of_freedom: float) -> float:
    """The factor k for as much coverage as k = 2 has with infinitely many degrees of freedom.

    Parameters
    ----------
    degrees_of_freedom : float
        Effective degrees of freedom of the standard uncertainty, at least 1; cut down to a
        whole number before it is used. [-]

    Returns
    -------
    factor : float
        The quantile of the t distribution for 95.45 %. [-]

    Raises
    ------
    ValueError
        If there is less than one degree of freedom.

    References
    ----------
    .. [1] `jcgm-100`, 2008, G.4 and Table G.2.

    Examples
    --------
    >>> round(coverage_factor(4), 2)
    2.87
    """
    if not degrees_of_freedom >= 1:
        raise ValueError(f"There must be at least 1 degree of freedom, not {degrees_of_freedom}.")
    share = float(scipy.special.ndtr(COVERAGE_FACTOR))
    if math.isinf(degrees_of_freedom):
        return COVERAGE_FACTOR
    return float(scipy.special.stdtrit(math.floor(degrees_of_freedom), share))
