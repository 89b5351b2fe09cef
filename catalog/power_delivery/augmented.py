"""The augmented kinds of power data object: programmable and adjustable supplies, and the rest.

Units and exactness as in `supplies`.
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

AVS_SPR_VOLTAGES_V = (9.0, 15.0, 20.0)
"""Where the two current ranges of an SPR adjustable supply begin and end [V]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammableSupply(PowerObject):
    """An SPR programmable supply (PPS): voltages in steps of 0.1 [V], current of 0.05 [A].

    A `power_limited` supply gives no more than the rated power of its port, wherever that is
    less than voltage times current.
    """

    kind: ClassVar[Kind] = "pps"
    reserved_mask: ClassVar[int] = layout.PPS_RESERVED

    voltage_min_v: float
    voltage_max_v: float
    current_max_a: float
    power_limited: bool = False

    @classmethod
    def read(cls, word: int, *, position: int) -> ProgrammableSupply:
        """The object in a word whose type bits say programmable."""
        return cls(
            position=position,
            voltage_min_v=layout.PPS_VOLTAGE_MIN.quantity(word),
            voltage_max_v=layout.PPS_VOLTAGE_MAX.quantity(word),
            current_max_a=layout.PPS_CURRENT.quantity(word),
            power_limited=bool(word & layout.PPS_POWER_LIMITED),
            reserved_bits=word & cls.reserved_mask,
        )

    @property
    def word(self) -> int:
        """The 32-bit word. Raises `ValueError` for what a word cannot hold."""
        return (
            type_bits(0b11, augmented=0b00)
            | (layout.PPS_POWER_LIMITED if self.power_limited else 0)
            | layout.PPS_VOLTAGE_MAX.place_quantity(self.voltage_max_v, name="voltage_max_v")
            | layout.PPS_VOLTAGE_MIN.place_quantity(self.voltage_min_v, name="voltage_min_v")
            | layout.PPS_CURRENT.place_quantity(self.current_max_a, name="current_max_a")
            | self.kept_bits
        )

    @property
    def power_max_w(self) -> float:
        """Highest voltage times current [W]; an upper bound when power limited."""
        return watts(self.voltage_max_v, current_a=self.current_max_a)

    @property
    def flags(self) -> tuple[str, ...]:
        """``power-limited``, and whether reserved bits are set."""
        return (*(("power-limited",) if self.power_limited else ()), *self.reserved_flags)

    @property
    def ranges(self) -> tuple[SupplyRange, ...]:
        """One range, bounded by its current."""
        return (SupplyRange(self.voltage_min_v, self.voltage_max_v, self.current_max_a),)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtendedAdjustableSupply(PowerObject):
    """An EPR adjustable supply (AVS): voltages in steps of 0.1 [V], power in steps of 1 [W]."""

    kind: ClassVar[Kind] = "avs-epr"
    reserved_mask: ClassVar[int] = layout.AVS_EPR_RESERVED
    current_max_a: ClassVar[None] = None

    voltage_min_v: float
    voltage_max_v: float
    power_max_w: float
    peak_current: int = 0

    @classmethod
    def read(cls, word: int, *, position: int) -> ExtendedAdjustableSupply:
        """The object in a word whose type bits say EPR adjustable."""
        return cls(
            position=position,
            voltage_min_v=layout.AVS_EPR_VOLTAGE_MIN.quantity(word),
            voltage_max_v=layout.AVS_EPR_VOLTAGE_MAX.quantity(word),
            power_max_w=layout.AVS_EPR_POWER.quantity(word),
            peak_current=layout.AVS_PEAK_CURRENT.count(word),
            reserved_bits=word & cls.reserved_mask,
        )

    @property
    def word(self) -> int:
        """The 32-bit word. Raises `ValueError` for what a word cannot hold."""
        return (
            type_bits(0b11, augmented=0b01)
            | layout.AVS_PEAK_CURRENT.place_count(self.peak_current, name="peak_current")
            | layout.AVS_EPR_VOLTAGE_MAX.place_quantity(self.voltage_max_v, name="voltage_max_v")
            | layout.AVS_EPR_VOLTAGE_MIN.place_quantity(self.voltage_min_v, name="voltage_min_v")
            | layout.AVS_EPR_POWER.place_quantity(self.power_max_w, name="power_max_w")
            | self.kept_bits
        )

    @property
    def flags(self) -> tuple[str, ...]:
        """Peak current, and whether reserved bits are set."""
        return (*peak_flags(self.peak_current), *self.reserved_flags)

    @property
    def ranges(self) -> tuple[SupplyRange, ...]:
        """One range, bounded by its power."""
        return (SupplyRange(self.voltage_min_v, self.voltage_max_v, power_max_w=self.power_max_w),)


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardAdjustableSupply(PowerObject):
    """An SPR adjustable supply (AVS): 9 to 15 V, and to 20 V where the second current is not 0.

    Parameters
    ----------
    current_to_15_v_a : float
        Highest current from 9 to 15 V, steps of 0.01. [A]
    current_to_20_v_a : float
        Highest current from 15 to 20 V, steps of 0.01; 0 is not offered. [A]
    peak_current : int
        Code 0 to 3 of the short overload that is allowed. [-]
    """

    kind: ClassVar[Kind] = "avs-spr"
    reserved_mask: ClassVar[int] = layout.AVS_SPR_RESERVED

    current_to_15_v_a: float
    current_to_20_v_a: float
    peak_current: int = 0

    @classmethod
    def read(cls, word: int, *, position: int) -> StandardAdjustableSupply:
        """The object in a word whose type bits say SPR adjustable."""
        return cls(
            position=position,
            current_to_15_v_a=layout.AVS_SPR_CURRENT_TO_15_V.quantity(word),
            current_to_20_v_a=layout.AVS_SPR_CURRENT_TO_20_V.quantity(word),
            peak_current=layout.AVS_PEAK_CURRENT.count(word),
            reserved_bits=word & cls.reserved_mask,
        )

    @property
    def word(self) -> int:
        """The 32-bit word. Raises `ValueError` for what a word cannot hold."""
        return (
            type_bits(0b11, augmented=0b10)
            | layout.AVS_PEAK_CURRENT.place_count(self.peak_current, name="peak_current")
            | layout.AVS_SPR_CURRENT_TO_15_V.place_quantity(
                self.current_to_15_v_a, name="current_to_15_v_a"
            )
            | layout.AVS_SPR_CURRENT_TO_20_V.place_quantity(
                self.current_to_20_v_a, name="current_to_20_v_a"
            )
            | self.kept_bits
        )

    @property
    def ranges(self) -> tuple[SupplyRange, ...]:
        """The ranges that are offered, up to two; none when both currents are 0."""
        lowest, middle, highest = AVS_SPR_VOLTAGES_V
        both = (
            SupplyRange(lowest, middle, self.current_to_15_v_a),
            SupplyRange(middle, highest, self.current_to_20_v_a),
        )
        return tuple(item for item in both if item.current_max_a)

    @property
    def voltage_min_v(self) -> float | None:
        """Lowest voltage that is offered [V]; None when none is."""
        return min((item.voltage_min_v for item in self.ranges), default=None)

    @property
    def voltage_max_v(self) -> float | None:
        """Highest voltage that is offered [V]; None when none is."""
        return max((item.voltage_max_v for item in self.ranges), default=None)

    @property
    def current_max_a(self) -> float:
        """The higher of the two currents [A]."""
        return max(self.current_to_15_v_a, self.current_to_20_v_a)

    @property
    def power_max_w(self) -> float:
        """Highest power of the two ranges, each at its highest voltage [W]."""
        _, middle, highest = AVS_SPR_VOLTAGES_V
        return max(
            watts(middle, current_a=self.current_to_15_v_a),
            watts(highest, current_a=self.current_to_20_v_a),
        )

    @property
    def flags(self) -> tuple[str, ...]:
        """Peak current, and whether reserved bits are set."""
        return (*peak_flags(self.peak_current), *self.reserved_flags)


@dataclass(frozen=True, slots=True, kw_only=True)
class Padding(PowerObject):
    """The all-zero word that fills positions 1 to 7 of an EPR message. It offers nothing."""

    kind: ClassVar[Kind] = "padding"
    voltage_min_v: ClassVar[None] = None
    voltage_max_v: ClassVar[None] = None
    current_max_a: ClassVar[None] = None
    power_max_w: ClassVar[None] = None
    word: ClassVar[int] = 0
    flags: ClassVar[tuple[str, ...]] = ()
    ranges: ClassVar[tuple[SupplyRange, ...]] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ReservedObject(PowerObject):
    """An augmented type that has no meaning yet: its lower 28 bits are kept as they came."""

    kind: ClassVar[Kind] = "reserved"
    voltage_min_v: ClassVar[None] = None
    voltage_max_v: ClassVar[None] = None
    current_max_a: ClassVar[None] = None
    power_max_w: ClassVar[None] = None
    flags: ClassVar[tuple[str, ...]] = ()
    ranges: ClassVar[tuple[SupplyRange, ...]] = ()

    payload: int

    @classmethod
    def read(cls, word: int, *, position: int) -> ReservedObject:
        """The object in a word whose type bits are reserved."""
        return cls(position=position, payload=layout.RESERVED_PAYLOAD.count(word))

    @property
    def word(self) -> int:
        """The 32-bit word. Raises `ValueError` for a payload of more than 28 bits."""
        return type_bits(0b11, augmented=0b11) | layout.RESERVED_PAYLOAD.place_count(
            self.payload, name="payload"
        )
