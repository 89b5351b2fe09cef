"""Efficiency of a power supply at a fixed output power, to compare supplies of any rating."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.between import mean_by_load, monotone_between
from measurements.metrics.efficiency import LoadState, interpolated_states, mean_state

EQUAL_POWERS_W = (15.0, 30.0, 45.0, 65.0, 100.0)
POWER_TOLERANCE_PERCENT = 2.0


def states_at_powers(
    powers_w: Sequence[float],
    *,
    read_power: FloatArray,
    nominal: FloatArray,
    input_power: FloatArray,
    output_power: FloatArray,
) -> dict[float, LoadState | None]:
    r"""Efficiency and loss at output powers, measured there or interpolated.

    Parameters
    ----------
    powers_w : sequence of float
        The output powers, each above zero. [W]
    read_power : ndarray of float
        Output power of every point as it was read. It alone decides which points count and
        whether a power lies inside the measured range, so that both are the same for every set
        of readings while the uncertainty propagation shifts them. [W]
    nominal : ndarray of float
        Nominal load of every point, from `measurements.metrics.efficiency.nominal_load`. [%]
    input_power : ndarray of float
        Input power of every point, points along the last axis. [W]
    output_power : ndarray of float
        Output power of every point. [W]

    Returns
    -------
    states : dict of float to LoadState or None
        Power [W] → efficiency [%] and loss [W]; None for a power outside the measured range.

    Notes
    -----
    Points within ±2 % of a power count for it, and are averaged. Without one, the loss is
    interpolated over output power by a monotone piecewise cubic (PCHIP) [1]_ through the
    points, those of one nominal load averaged:

    .. math:: \eta = \frac{P}{P + P_{loss}(P)}

    Nothing is extrapolated. The ±2 % are this project's own width.

    References
    ----------
    .. [1] `common-practice`, the monotone cubic of F. N. Fritsch and R. E. Carlson, 1980.

    Examples
    --------
    >>> watts = np.array([20.0, 40.0, 60.0])
    >>> states = states_at_powers(
    ...     [45.0], read_power=watts, nominal=watts, input_power=watts + 5.0, output_power=watts
    ... )
    >>> states[45.0].efficiency_percent
    array(90.)
    """
    reached = mean_by_load(nominal, values=read_power)
    lowest, highest = np.min(reached), np.max(reached)
    states: dict[float, LoadState | None] = {}
    between = []
    for power in powers_w:
        counting = np.abs(read_power - power) <= _width(power)
        states[power] = None
        if np.any(counting):
            states[power] = mean_state(
                input_power[..., counting], output_power=output_power[..., counting]
            )
        elif lowest < power < highest:
            between.append(power)
    if between:
        loss = monotone_between(
            np.array(between),
            x=mean_by_load(nominal, values=output_power),
            y=mean_by_load(nominal, values=input_power - output_power),
        )
        states.update(zip(between, interpolated_states(np.array(between), loss=loss), strict=True))
    return states


def _width(power_w: float) -> float:
    """How far from a power [W] a point may lie to count for it [W]."""
    # The small allowance keeps a point at exactly 2 % inside, whatever the last binary digit is.
    return POWER_TOLERANCE_PERCENT / 100 * power_w * (1 + 1e-9)
