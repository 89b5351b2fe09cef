"""Efficiency and loss of a power supply at measured loads and at loads between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.between import mean_by_load, monotone_between
from measurements.metrics.uncertainty import AS_READ, standard_error

AVERAGED_LOADS = (25.0, 50.0, 75.0, 100.0)
NAMED_LOADS = (10.0, *AVERAGED_LOADS)
LOAD_TOLERANCE = 2.0


@dataclass(frozen=True, slots=True)
class LoadState:
    """What a supply does at one load, for every set of readings that was given.

    Readings may have an axis before that of the points: the sets of
    `measurements.metrics.uncertainty.with_errors`. Efficiency and loss then have that axis, and
    the scatter is that of the set as read.

    Attributes
    ----------
    efficiency_percent : ndarray of float
        Output over input power. [%]
    loss_w : ndarray of float
        Input minus output power. [W]
    interpolated : bool
        Whether no measured point counts for the load. [-]
    scatter_percent : float
        Standard error of the mean efficiency of repeated points, 0 for one point. [%]
    scatter_w : float
        Standard error of the mean loss of repeated points, 0 for one point. [W]
    """

    efficiency_percent: FloatArray
    loss_w: FloatArray
    interpolated: bool
    scatter_percent: float
    scatter_w: float


def efficiency(input_power: FloatArray, *, output_power: FloatArray) -> FloatArray:
    """Output power over input power.

    Parameters
    ----------
    input_power : ndarray of float
        Active input power, above zero. [W]
    output_power : ndarray of float
        Output power. [W]

    Returns
    -------
    efficiency : ndarray of float
        100 · P_out / P_in. [%]

    References
    ----------
    .. [1] `us-doe-appendix-z`, section 5.

    Examples
    --------
    >>> efficiency(np.array([50.0]), output_power=np.array([45.0]))
    array([90.])
    """
    return np.asarray(100.0 * output_power / input_power, dtype=np.float64)


def nominal_load(output_current: FloatArray, *, full_load_current: float) -> FloatArray:
    """Nominal load that each point stands for.

    Parameters
    ----------
    output_current : ndarray of float
        Measured output current. [A]
    full_load_current : float
        Current at 100 % load. [A]

    Returns
    -------
    load : ndarray of float
        10, 25, 50, 75 or 100 for points within ±2 points of them, else the nearest whole
        per cent of the full-load current. [%]

    Notes
    -----
    Loads are shares of the nameplate *current*, as in [1]_. The ±2 points are this
    project's own width.

    References
    ----------
    .. [1] `us-doe-appendix-z`, section 5, loading conditions.

    Examples
    --------
    >>> nominal_load(np.array([0.76, 1.0, 2.98]), full_load_current=3.0)
    array([ 25.,  33., 100.])
    """
    percent = 100.0 * np.asarray(output_current, dtype=np.float64) / full_load_current
    load = np.round(percent)
    for named in NAMED_LOADS:
        # The small allowance keeps a point at exactly two points' distance inside, whatever
        # the last binary digit of the division is.
        load[np.abs(percent - named) <= LOAD_TOLERANCE + 1e-9] = named
    return load


def mean_state(input_power: FloatArray, *, output_power: FloatArray) -> LoadState:
    """State of repeated points of one load: the means of their efficiencies and losses.

    Parameters
    ----------
    input_power : ndarray of float
        Active input power, above zero; one point or more along the last axis. [W]
    output_power : ndarray of float
        Output power. [W]

    Returns
    -------
    state : LoadState
        Efficiency [%] and loss [W] with their scatter.

    References
    ----------
    .. [1] `jcgm-100`, 2008, 4.2.3, for the scatter.
    """
    efficiencies = efficiency(input_power, output_power=output_power)
    losses = input_power - output_power
    return LoadState(
        efficiency_percent=np.asarray(np.mean(efficiencies, axis=-1)),
        loss_w=np.asarray(np.mean(losses, axis=-1)),
        interpolated=False,
        scatter_percent=standard_error(np.atleast_2d(efficiencies)[AS_READ]),
        scatter_w=standard_error(np.atleast_2d(losses)[AS_READ]),
    )


def interpolated_states(power: FloatArray, *, loss: FloatArray) -> list[LoadState]:
    """States at output powers between measured points.

    Parameters
    ----------
    power : ndarray of float
        Output powers along the last axis. [W]
    loss : ndarray of float
        Interpolated loss at each of them. [W]

    Returns
    -------
    states : list of LoadState
        Efficiency [%] and loss [W] at each power.

    Examples
    --------
    >>> (state,) = interpolated_states(np.array([45.0]), loss=np.array([5.0]))
    >>> state.efficiency_percent
    array(90.)
    """
    efficiencies = 100.0 * power / (power + loss)
    return [
        LoadState(
            efficiency_percent=efficiencies[..., number],
            loss_w=loss[..., number],
            interpolated=True,
            scatter_percent=0.0,
            scatter_w=0.0,
        )
        for number in range(loss.shape[-1])
    ]


def states_at_loads(
    loads_percent: Sequence[float],
    *,
    nominal: FloatArray,
    full_load_current: float,
    input_power: FloatArray,
    output_voltage: FloatArray,
    output_current: FloatArray,
) -> dict[float, LoadState | None]:
    r"""Efficiency and loss at loads, measured there or interpolated between neighbours.

    Parameters
    ----------
    loads_percent : sequence of float
        The loads, each one of 10, 25, 50, 75 and 100. [%]
    nominal : ndarray of float
        Nominal load of every point, from `nominal_load`. [%]
    full_load_current : float
        Current at 100 % load. [A]
    input_power : ndarray of float
        Input power of every point, points along the last axis. [W]
    output_voltage : ndarray of float
        Output voltage of every point. [V]
    output_current : ndarray of float
        Output current of every point. [A]

    Returns
    -------
    states : dict of float to LoadState or None
        Load [%] → efficiency [%] and loss [W]; None for a load outside the measured range.

    Notes
    -----
    Points with that nominal load count for it; their efficiencies and losses are averaged.
    Without such a point, voltage is interpolated over current at the load's current, and
    loss over output power at the resulting power, both by a monotone piecewise cubic
    (PCHIP) [1]_ through the points, those of one nominal load averaged:

    .. math:: I = x I_{100}, \quad P_{out} = I V(I), \quad
              \eta = \frac{P_{out}}{P_{out} + P_{loss}(P_{out})}

    Loss is interpolated rather than efficiency because it is close to a parabola in load,
    while efficiency bends sharply at light load. Nothing is extrapolated. Which points
    count follows from `nominal` alone, so that it is the same for every set of readings while
    the uncertainty propagation shifts them.

    References
    ----------
    .. [1] `common-practice`, the monotone cubic of F. N. Fritsch and R. E. Carlson, 1980.
    """
    output_power = output_voltage * output_current
    lowest, highest = np.min(nominal), np.max(nominal)
    states: dict[float, LoadState | None] = {}
    between = []
    for load in loads_percent:
        counting = nominal == load
        states[load] = None
        if np.any(counting):
            states[load] = mean_state(
                input_power[..., counting], output_power=output_power[..., counting]
            )
        elif lowest < load < highest:
            between.append(load)
    if between:
        current = full_load_current * np.array(between) / 100
        voltage = monotone_between(
            current,
            x=mean_by_load(nominal, values=output_current),
            y=mean_by_load(nominal, values=output_voltage),
        )
        power = current * voltage
        loss = monotone_between(
            power,
            x=mean_by_load(nominal, values=output_power),
            y=mean_by_load(nominal, values=input_power - output_power),
        )
        states.update(zip(between, interpolated_states(power, loss=loss), strict=True))
    return states


def average_efficiency(states: Sequence[LoadState]) -> FloatArray:
    """Arithmetic mean of the efficiencies at the averaged loads.

    Parameters
    ----------
    states : sequence of LoadState
        The states at 25, 50, 75 and 100 % load, or at the four steps in ampere that take
        their place. [-]

    Returns
    -------
    average : ndarray of float
        Mean efficiency, one for every set of readings. [%]

    References
    ----------
    .. [1] `us-doe-appendix-z`, section 5, average active-mode efficiency.
    """
    return np.asarray(np.mean([state.efficiency_percent for state in states], axis=0))
