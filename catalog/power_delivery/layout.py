"""Where the fields of a 32-bit source power data object lie. Bit numbers include both ends.

Layout of [1]_ (fixed, battery, variable, programmable), of the patch [2]_ (adjustable) and of
[3]_ (flags of the first object, peak current).

References
----------
.. [1] `linux-usb-pd-header`
.. [2] `linux-usb-pd-adjustable`
.. [3] `fuchsia-usb-pd-objects`
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

LARGEST_WORD: Final = 0xFFFF_FFFF


@dataclass(frozen=True, slots=True)
class BitField:
    """A field of a word, and the quantity that one count of it stands for.

    Parameters
    ----------
    high, low : int
        Number of its highest and lowest bit. [-]
    step_milli : int
        One count. [mV, mA or mW]
    """

    high: int
    low: int
    step_milli: int = 1

    @property
    def largest_count(self) -> int:
        """The count when every bit is one."""
        return (1 << (self.high - self.low + 1)) - 1

    @property
    def mask(self) -> int:
        """The bits of the field, in place."""
        return self.largest_count << self.low

    def count(self, word: int) -> int:
        """The bare count that the word holds."""
        return (word >> self.low) & self.largest_count

    def place_count(self, count: int, *, name: str) -> int:
        """The count shifted to its place. Raises `ValueError` when it does not fit."""
        if not 0 <= count <= self.largest_count:
            raise ValueError(f"{name} must be 0 to {self.largest_count}, not {count}")
        return count << self.low

    def quantity(self, word: int) -> float:
        """The quantity that the word holds [V, A or W].

        One division of whole numbers gives the float nearest to the decimal, so that 2.22 A is
        2.22 and not 2.2199999999999998.
        """
        return self.count(word) * self.step_milli / 1000

    def place_quantity(self, quantity: float, *, name: str) -> int:
        """The quantity [V, A or W] as count in its place.

        Raises `ValueError` when it is not a multiple of the step or does not fit: rounding it
        would write down an offer that nobody made.
        """
        step = self.step_milli / 1000
        if not math.isfinite(quantity) or not 0 <= quantity < (self.largest_count + 0.5) * step:
            largest = self.largest_count * self.step_milli / 1000
            raise ValueError(f"{name} must be 0 to {largest:g}, not {quantity:g}")
        count = round(quantity * 1000 / self.step_milli)
        if not math.isclose(count * step, quantity, rel_tol=1e-9, abs_tol=1e-9):
            raise ValueError(f"{name} goes in steps of {step:g}; {quantity:g} is between two")
        return count << self.low


SUPPLY_TYPE: Final = BitField(31, 30)
AUGMENTED_TYPE: Final = BitField(29, 28)

FIXED_PEAK_CURRENT: Final = BitField(21, 20)
FIXED_VOLTAGE: Final = BitField(19, 10, 50)
FIXED_CURRENT: Final = BitField(9, 0, 10)
FIXED_RESERVED: Final = 1 << 22

RANGE_VOLTAGE_MAX: Final = BitField(29, 20, 50)
RANGE_VOLTAGE_MIN: Final = BitField(19, 10, 50)
BATTERY_POWER: Final = BitField(9, 0, 250)
VARIABLE_CURRENT: Final = BitField(9, 0, 10)

PPS_POWER_LIMITED: Final = 1 << 27
PPS_VOLTAGE_MAX: Final = BitField(24, 17, 100)
PPS_VOLTAGE_MIN: Final = BitField(15, 8, 100)
PPS_CURRENT: Final = BitField(6, 0, 50)
PPS_RESERVED: Final = (0b11 << 25) | (1 << 16) | (1 << 7)

AVS_PEAK_CURRENT: Final = BitField(27, 26)
AVS_EPR_VOLTAGE_MAX: Final = BitField(25, 17, 100)
AVS_EPR_VOLTAGE_MIN: Final = BitField(15, 8, 100)
AVS_EPR_POWER: Final = BitField(7, 0, 1000)
AVS_EPR_RESERVED: Final = 1 << 16
AVS_SPR_CURRENT_TO_15_V: Final = BitField(19, 10, 10)
AVS_SPR_CURRENT_TO_20_V: Final = BitField(9, 0, 10)
AVS_SPR_RESERVED: Final = 0b11_1111 << 20

RESERVED_PAYLOAD: Final = BitField(27, 0)

FIRST_OBJECT_FLAGS: Final = (
    (29, "dual-role-power"),
    (28, "usb-suspend-supported"),
    (27, "unconstrained-power"),
    (26, "usb-communications"),
    (25, "dual-role-data"),
    (24, "unchunked-extended-messages"),
    (23, "epr-mode-capable"),
)
"""Bit and name of what the first object says of the whole source."""

PEAK_CURRENT_PERCENT: Final = (100, 110, 125, 150)
"""Peak current code → share of the maximum current [%] for 10 ms at half duty."""
