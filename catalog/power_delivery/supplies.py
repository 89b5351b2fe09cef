"""Fixed, battery and variable supplies, each able to read itself from a word and to write itself.

Voltages in [V], currents in [A], powers in [W], exact on the grid of their field. Every bit of
a word is kept, so that writing gives back the word that was read.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from catalog.power_delivery import layout
from catalog.power_delivery.base import (
    Kind,
    PowerObject,
    SupplyRange,
    peak_flags,
    type_bits,
    watts,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedSupply(PowerObject):
    """One voltage. `source_flags` speak of the whole source and count only in position 1.

    Parameters
    ----------
    voltage_v : float
        Voltage, steps of 0.05. [V]
    current_max_a : float
        Highest current, steps of 0.01. [A]
    peak_current : int
        Code 0 to 3 of the short overload that is allowed. [-]
    source_flags : frozenset of str
        Names of `layout.FIRST_OBJECT_FLAGS`. [-]
    """

    kind: ClassVar[Kind] = "fixed"
    reserved_mask: ClassVar[int] = layout.FIXED_RESERVED

    voltage_v: float
    current_max_a: float
    peak_current: int = 0
    source_flags: frozenset[str] = frozenset()

    @classmethod
    def read(cls, word: int, *, position: int) -> FixedSupply:
        """The object in a word whose type bits say fixed."""
        return cls(
            position=position,
            voltage_v=layout.FIXED_VOLTAGE.quantity(word),
            current_max_a=layout.FIXED_CURRENT.quantity(word),
            peak_current=layout.FIXED_PEAK_CURRENT.count(word),
            source_flags=frozenset(
                name for bit, name in layout.FIRST_OBJECT_FLAGS if word & (1 << bit)
            ),
            reserved_bits=word & cls.reserved_mask,
        )

    @property
    def word(self) -> int:
        """The 32-bit word. Raises `ValueError` for what a word cannot hold."""
        bits = {name: 1 << bit for bit, name in layout.FIRST_OBJECT_FLAGS}
        unknown = sorted(self.source_flags - bits.keys())
        if unknown:
            raise ValueError(f"a fixed supply has no flag {', '.join(unknown)}")
        return (
            sum(bits[name] for name in self.source_flags)
            | layout.FIXED_PEAK_CURRENT.place_count(self.peak_current, name="peak_current")
            | layout.FIXED_VOLTAGE.place_quantity(self.voltage_v, name="voltage_v")
            | layout.FIXED_CURRENT.place_quantity(self.current_max_a, name="current_max_a")
            | self.kept_bits
        )

    @property
    def voltage_min_v(self) -> float:
        """The voltage [V]."""
        return self.voltage_v

    @property
    def voltage_max_v(self) -> float:
        """The voltage [V]."""
        return self.voltage_v

    @property
    def power_max_w(self) -> float:
        """Voltage times current [W]."""
        return watts(self.voltage_v, current_a=self.current_max_a)

    @property
    def flags(self) -> tuple[str, ...]:
        """What the object says beside its numbers; the source's flags only in position 1."""
        stated = self.source_flags if self.position == 1 else frozenset()
        return (
            *(name for _, name in layout.FIRST_OBJECT_FLAGS if name in stated),
            *peak_flags(self.peak_current),
            *self.reserved_flags,
        )

    @property
    def ranges(self) -> tuple[SupplyRange, ...]:
        """The one voltage."""
        return (SupplyRange(self.voltage_v, self.voltage_v, self.current_max_a),)


@dataclass(frozen=True, slots=True, kw_only=True)
class BatterySupply(PowerObject):
    """A battery on the line: voltages in steps of 0.05 [V], power in steps of 0.25 [W]."""

    kind: ClassVar[Kind] = "battery"
    current_max_a: ClassVar[None] = None

    voltage_min_v: float
    voltage_max_v: float
    power_max_w: float

    @classmethod
    def read(cls, word: int, *, position: int) -> BatterySupply:
        """The object in a word whose type bits say battery."""
        return cls(
            position=position,
            voltage_min_v=layout.RANGE_VOLTAGE_MIN.quantity(word),
            voltage_max_v=layout.RANGE_VOLTAGE_MAX.quantity(word),
            power_max_w=layout.BATTERY_POWER.quantity(word),
        )

    @property
    def word(self) -> int:
        """The 32-bit word. Raises `ValueError` for what a word cannot hold."""
        return (
            type_bits(0b01)
            | layout.RANGE_VOLTAGE_MAX.place_quantity(self.voltage_max_v, name="voltage_max_v")
            | layout.RANGE_VOLTAGE_MIN.place_quantity(self.voltage_min_v, name="voltage_min_v")
            | layout.BATTERY_POWER.place_quantity(self.power_max_w, name="power_max_w")
            | self.kept_bits
        )

    @property
    def flags(self) -> tuple[str, ...]:
        """A battery object has no flags."""
        return ()

    @property
    def ranges(self) -> tuple[SupplyRange, ...]:
        """One range, bounded by its power."""
        return (SupplyRange(self.voltage_min_v, self.voltage_max_v, power_max_w=self.power_max_w),)


@dataclass(frozen=True, slots=True, kw_only=True)
class VariableSupply(PowerObject):
    """An unregulated voltage: steps of 0.05 [V], current in steps of 0.01 [A]."""

    kind: ClassVar[Kind] = "variable"

    voltage_min_v: float
    voltage_max_v: float
    current_max_a: float

    @classmethod
    def read(cls, word: int, *, position: int) -> VariableSupply:
        """The object in a word whose type bits say variable."""
        return cls(
            position=position,
            voltage_min_v=layout.RANGE_VOLTAGE_MIN.quantity(word),
            voltage_max_v=layout.RANGE_VOLTAGE_MAX.quantity(word),
            current_max_a=layout.VARIABLE_CURRENT.quantity(word),
        )

    @property
    def word(self) -> int:
        """The 32-bit word. Raises `ValueError` for what a word cannot hold."""
        return (
            type_bits(0b10)
            | layout.RANGE_VOLTAGE_MAX.place_quantity(self.voltage_max_v, name="voltage_max_v")
            | layout.RANGE_VOLTAGE_MIN.place_quantity(self.voltage_min_v, name="voltage_min_v")
            | layout.VARIABLE_CURRENT.place_quantity(self.current_max_a, name="current_max_a")
            | self.kept_bits
        )

    @property
    def power_max_w(self) -> float:
        """Highest voltage times current [W]."""
        return watts(self.voltage_max_v, current_a=self.current_max_a)

    @property
    def flags(self) -> tuple[str, ...]:
        """A variable object has no flags."""
        return ()

    @property
    def ranges(self) -> tuple[SupplyRange, ...]:
        """One range, bounded by its current."""
        return (SupplyRange(self.voltage_min_v, self.voltage_max_v, self.current_max_a),)
