"""How well the output of a power supply keeps its voltage, seen at the receptacle."""

from __future__ import annotations

import numpy as np

from measurements.metrics import FloatArray


def corrected_voltage(
    voltage: FloatArray, *, current: FloatArray, lead_resistance: float
) -> FloatArray:
    """Output voltage at the receptacle from a reading at the far end of a lead.

    Parameters
    ----------
    voltage : ndarray of float
        Voltage at the meter. [V]
    current : ndarray of float
        Current through the lead. [A]
    lead_resistance : float
        Resistance of the lead, there and back. [Ω]

    Returns
    -------
    voltage : ndarray of float
        V + I · R. [V]

    References
    ----------
    .. [1] `common-practice`, Ohm's law.
    """
    return np.asarray(voltage + current * lead_resistance, dtype=np.float64)


def output_deviation(output_voltage: FloatArray, *, nominal_voltage: float) -> float:
    """Largest distance of the output voltage from its nominal value.

    Parameters
    ----------
    output_voltage : ndarray of float
        Measured voltages. [V]
    nominal_voltage : float
        Nominal voltage. [V]

    Returns
    -------
    deviation : float
        100 · max \\|V − V_nominal\\| / V_nominal. [%]

    References
    ----------
    .. [1] `common-practice`.
    """
    return float(np.max(np.abs(output_voltage - nominal_voltage)) / nominal_voltage * 100)


def load_regulation(
    output_voltage: FloatArray, *, nominal: FloatArray, nominal_voltage: float
) -> float:
    """Fall of the output voltage from the lowest to the highest load.

    Parameters
    ----------
    output_voltage : ndarray of float
        Measured voltages. [V]
    nominal : ndarray of float
        Nominal load of every point, from `nominal_load`. [%]
    nominal_voltage : float
        Nominal voltage. [V]

    Returns
    -------
    regulation : float
        100 · (V_lowest − V_highest) / V_nominal, repeated points averaged; negative when
        the voltage rises with load, as with cable compensation; 0 for one load. [%]

    References
    ----------
    .. [1] `common-practice`.
    """
    at_lowest = np.mean(output_voltage[nominal == np.min(nominal)])
    at_highest = np.mean(output_voltage[nominal == np.max(nominal)])
    return float((at_lowest - at_highest) / nominal_voltage * 100)
