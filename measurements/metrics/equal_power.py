"""Efficiency of a power supply at a fixed output power, to compare supplies of any rating."""

from __future__ import annotations

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.between import mean_by_load, monotone_between
from measurements.metrics.efficiency import LoadState, mean_state

EQUAL_POWERS_W = (15.0, 30.0, 45.0, 65.0, 100.0)
POWER_TOLERANCE_PERCENT = 2.0


def state_at_power(
    power_w: float,
    *,
    read_power: FloatArray,
    nominal: FloatArray,
    input_power: FloatArray,
    output_power: FloatArray,
) -> LoadState | None:
    r"""Efficiency and loss at an output power, measured there or interpolated.

    Parameters
    ----------
    power_w : float
        The output power, above zero. [W]
    read_power : ndarray of float
        Output power of every point as it was read. It alone decides which points count and
        whether the power lies inside the measured range, so that both stay as they are while
        the uncertainty propagation shifts `output_power`. [W]
    nominal : ndarray of float
        Nominal load of every point, from `measurements.metrics.efficiency.nominal_load`. [%]
    input_power : ndarray of float
        Input power of every point. [W]
    output_power : ndarray of float
        Output power of every point. [W]

    Returns
    -------
    state : LoadState or None
        Efficiency [%] and loss [W]; None for a power outside the measured range.

    Notes
    -----
    Points within ±2 % of the power count for it, and are averaged. Without one, the loss is
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
    >>> found = state_at_power(
    ...     45.0, read_power=watts, nominal=watts, input_power=watts + 5.0, output_power=watts
    ... )
    >>> found.efficiency_percent
    90.0
    """
    # The small allowance keeps a point at exactly 2 % inside, whatever the last binary digit is.
    width = POWER_TOLERANCE_PERCENT / 100 * power_w * (1 + 1e-9)
    counting = np.abs(read_power - power_w) <= width
    if np.any(counting):
        return mean_state(input_power[counting], output_power=output_power[counting])
    reached = mean_by_load(nominal, values=read_power)
    if not np.min(reached) < power_w < np.max(reached):
        return None
    loss = monotone_between(
        power_w,
        x=mean_by_load(nominal, values=output_power),
        y=mean_by_load(nominal, values=input_power - output_power),
    )
    return LoadState(
        efficiency_percent=100.0 * power_w / (power_w + loss),
        loss_w=loss,
        interpolated=True,
        scatter_percent=0.0,
        scatter_w=0.0,
    )
