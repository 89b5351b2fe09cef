"""How well the output of a power supply keeps its voltage, seen at the receptacle."""

from __future__ import annotations

import numpy as np

from measurements.metrics import FloatArray


def corrected_voltage(
    voltage: FloatArray, *, current: FloatArray, lead_resistance: float | FloatArray
) -> FloatArray:
    """Output voltage at the receptacle from a reading at the far end of a lead.

    Parameters
    ----------
    voltage : ndarray of float
        Voltage at the meter. [V]
    current : ndarray of float
        Current through the lead. [A]
    lead_resistance : float or ndarray of float
        Resistance of the lead, there and back; one for all points, or shaped to fit them. [Ω]

    Returns
    -------
    voltage : ndarray of float
        V + I · R. [V]

    References
    ----------
    .. [1] `common-practice`, Ohm's law.
    """
    return np.asarray(voltage + current * lead_resistance, dtype=np.float64)


def output_deviation(output_voltage: FloatArray, *, nominal_voltage: float) -> FloatArray:
    """Largest distance of the output voltage from its nominal value.

    Parameters
    ----------
    output_voltage : ndarray of float
        Measured voltages, points along the last axis. [V]
    nominal_voltage : float
        Nominal voltage. [V]

    Returns
    -------
    deviation : ndarray of float
        100 · max \\|V − V_nominal\\| / V_nominal over the last axis. [%]

    References
    ----------
    .. [1] `common-practice`.
    """
    largest = np.max(np.abs(output_voltage - nominal_voltage), axis=-1)
    return np.asarray(largest / nominal_voltage * 100)


def load_regulation(
    output_voltage: FloatArray, *, nominal: FloatArray, nominal_voltage: float
) -> FloatArray:
    """Fall of the output voltage from the lowest to the highest load.

    Parameters
    ----------
    output_voltage : ndarray of float
        Measured voltages, points along the last axis. [V]
    nominal : ndarray of float
        Nominal load of every point, from `nominal_load`. [%]
    nominal_voltage : float
        Nominal voltage. [V]

    Returns
    -------
    regulation : ndarray of float
        100 · (V_lowest − V_highest) / V_nominal over the last axis, repeated points averaged;
        negative when the voltage rises with load, as with cable compensation; 0 for one load. [%]

    References
    ----------
    .. [1] `common-practice`.
    """
    at_lowest = np.mean(output_voltage[..., nominal == np.min(nominal)], axis=-1)
    at_highest = np.mean(output_voltage[..., nominal == np.max(nominal)], axis=-1)
    return np.asarray((at_lowest - at_highest) / nominal_voltage * 100)
