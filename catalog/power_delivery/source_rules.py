"""What a source of a given rated power (PDP) must offer, as data.

Each row says where it was found. PDP stands for the power that a port is rated for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from catalog.power_delivery.sources import Standing

LARGEST_SPR_COUNT = 7
LARGEST_EPR_COUNT = 11
FIRST_EPR_POSITION = 8
HIGHEST_SPR_VOLTAGE_V = 20.0
HIGHEST_SPR_POWER_W = 100.0
PLAIN_CABLE_CURRENT_A = 3.0
"""Current [A] that every USB-C cable carries; more needs a cable marked for 5 A."""


@dataclass(frozen=True, slots=True)
class RequiredVoltage:
    """A fixed voltage [V] that must be offered; without a current [A] it is PDP over voltage."""

    voltage_v: float
    current_a: float | None = None


@dataclass(frozen=True, slots=True)
class PowerRow:
    """What is required of rated powers [W] above `above_w` up to and including `up_to_w`."""

    above_w: float
    up_to_w: float
    voltages: tuple[RequiredVoltage, ...]
    source: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class RequiredProfile:
    """A fixed voltage [V] and the least current [A] that a rated power calls for there."""

    voltage_v: float
    current_a: float
    source: str
    standing: Standing


_5 = RequiredVoltage(5.0, 3.0)
_9 = RequiredVoltage(9.0, 3.0)
_15 = RequiredVoltage(15.0, 3.0)
_20 = RequiredVoltage(20.0, 5.0)
_28 = RequiredVoltage(28.0, 5.0)
_36 = RequiredVoltage(36.0, 5.0)
_RULES = "usb-pd-source-rules"

POWER_ROWS: tuple[PowerRow, ...] = (
    PowerRow(0.0, 15.0, (RequiredVoltage(5.0),), _RULES, "secondary"),
    PowerRow(15.0, 27.0, (_5, RequiredVoltage(9.0)), _RULES, "secondary"),
    PowerRow(27.0, 45.0, (_5, _9, RequiredVoltage(15.0)), _RULES, "secondary"),
    PowerRow(45.0, 60.0, (_5, _9, _15, RequiredVoltage(20.0)), _RULES, "secondary"),
    PowerRow(60.0, 100.0, (_5, _9, _15, RequiredVoltage(20.0)), _RULES, "secondary"),
    # The power levels above 100 W were read; which lower voltages they call for was not.
    PowerRow(100.0, 140.0, (_5, _9, _15, _20, RequiredVoltage(28.0)), _RULES, "from memory"),
    PowerRow(140.0, 180.0, (_5, _9, _15, _20, _28, RequiredVoltage(36.0)), _RULES, "from memory"),
    PowerRow(
        180.0, 240.0, (_5, _9, _15, _20, _28, _36, RequiredVoltage(48.0)), _RULES, "from memory"
    ),
)
LOWEST_POWER_W = 0.5
HIGHEST_POWER_W = POWER_ROWS[-1].up_to_w


@dataclass(frozen=True, slots=True)
class NamedRange:
    """A range of an adjustable supply that goes by the voltage [V] of its name."""

    name_v: float
    voltage_min_v: float
    voltage_max_v: float
    source: str
    standing: Standing


# A later revision may let the programmable ranges begin at 5 V; any beginning is accepted.
PROGRAMMABLE_RANGES: tuple[NamedRange, ...] = (
    NamedRange(5.0, 3.3, 5.9, "usb-pd", "from memory"),
    NamedRange(9.0, 3.3, 11.0, "linux-programmable-range", "seen"),
    NamedRange(15.0, 3.3, 16.0, "usb-pd", "from memory"),
    NamedRange(20.0, 3.3, 21.0, "usb-pd", "from memory"),
)
EXTENDED_ADJUSTABLE_RANGES: tuple[NamedRange, ...] = (
    NamedRange(28.0, 15.0, 28.0, "usb-pd", "from memory"),
    NamedRange(36.0, 15.0, 36.0, "usb-pd", "from memory"),
    NamedRange(48.0, 15.0, 48.0, "usb-pd", "from memory"),
)

# From memory, revision 3.2: above the first power 9 to 15 V, above the second also to 20 V.
STANDARD_ADJUSTABLE_ABOVE_W = 27.0
STANDARD_ADJUSTABLE_TO_20_V_ABOVE_W = 45.0

USUAL_FIXED_VOLTAGES_V = (5.0, 9.0, 12.0, 15.0, 20.0, 28.0, 36.0, 48.0)
OPTIONAL_FIXED_VOLTAGE_V = 12.0


def share_of_power_a(power_w: float, *, voltage_v: float) -> float:
    """Power over voltage, cut down to the 10 mA grid of a fixed supply.

    Parameters
    ----------
    power_w : float
        Rated power, to the milliwatt. [W]
    voltage_v : float
        Voltage above 0, to the millivolt. [V]

    Returns
    -------
    current : float
        Highest current of the grid that does not exceed the power. [A]

    Examples
    --------
    >>> share_of_power_a(20.0, voltage_v=9.0)
    2.22
    """
    # Whole numbers, so that 45 W over 15 V is 3.00 A and never 2.99 A.
    return (round(power_w * 1000) * 100 // round(voltage_v * 1000)) / 100


def required_profiles(power_w: float) -> tuple[RequiredProfile, ...]:
    """The fixed supplies that the source power rules call for.

    Parameters
    ----------
    power_w : float
        Rated power of the port. [W]

    Returns
    -------
    profiles : tuple of RequiredProfile
        Lowest voltage first; empty outside 0.5 to 240 W, where no row applies. [V and A]

    References
    ----------
    .. [1] `usb-pd-source-rules`
    """
    if not math.isfinite(power_w) or power_w < LOWEST_POWER_W:
        return ()
    for row in POWER_ROWS:
        if row.above_w < power_w <= row.up_to_w:
            return tuple(
                RequiredProfile(
                    item.voltage_v,
                    share_of_power_a(power_w, voltage_v=item.voltage_v)
                    if item.current_a is None
                    else item.current_a,
                    row.source,
                    row.standing,
                )
                for item in row.voltages
            )
    return ()
