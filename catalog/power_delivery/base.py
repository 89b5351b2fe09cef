"""What all kinds of power data object share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal, Protocol

from catalog.power_delivery import layout

Kind = Literal["fixed", "battery", "variable", "pps", "avs-epr", "avs-spr", "padding", "reserved"]

CABLE_CURRENT_A = 5.0
"""Highest current [A] that any USB-C cable is marked for."""


@dataclass(frozen=True, slots=True)
class SupplyRange:
    """A stretch of voltages [V] with the highest current [A] or power [W] that bounds it."""

    voltage_min_v: float
    voltage_max_v: float
    current_max_a: float | None = None
    power_max_w: float | None = None

    def current_at(self, voltage_v: float) -> float | None:
        """Highest current [A] at a voltage [V]; None outside the range.

        Where only a power is stated the cable bounds the current.
        """
        if not self.voltage_min_v <= voltage_v <= self.voltage_max_v:
            return None
        current = CABLE_CURRENT_A if self.current_max_a is None else self.current_max_a
        if self.power_max_w is not None and voltage_v > 0:
            current = min(current, self.power_max_w / voltage_v)
        return current


class _Stated(Protocol):
    """What every kind of object states, None where the object itself does not say."""

    @property
    def position(self) -> int: ...
    @property
    def kind(self) -> Kind: ...
    @property
    def word(self) -> int: ...
    @property
    def voltage_min_v(self) -> float | None: ...
    @property
    def voltage_max_v(self) -> float | None: ...
    @property
    def current_max_a(self) -> float | None: ...
    @property
    def power_max_w(self) -> float | None: ...
    @property
    def flags(self) -> tuple[str, ...]: ...
    @property
    def ranges(self) -> tuple[SupplyRange, ...]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerObject:
    """What all kinds share. `position` counts from 1; `reserved_bits` are kept in place."""

    reserved_mask: ClassVar[int] = 0

    position: int = 1
    reserved_bits: int = 0

    def current_at(self: _Stated, voltage_v: float) -> float | None:
        """Highest current [A] that the object offers at a voltage [V]; None where it has none.

        Of a power-limited programmable supply this is an upper bound: its power limit is the
        rated power of the port, which the object does not state.
        """
        currents = [item.current_at(voltage_v) for item in self.ranges]
        return max((current for current in currents if current is not None), default=None)

    def as_json(self: _Stated) -> dict[str, object]:
        """The decoded object of the public contract, and the word itself."""
        return {
            "position": self.position,
            "kind": self.kind,
            "voltage_min_v": self.voltage_min_v,
            "voltage_max_v": self.voltage_max_v,
            "current_max_a": self.current_max_a,
            "power_max_w": self.power_max_w,
            "flags": list(self.flags),
            "word": f"0x{self.word:08X}",
        }

    @property
    def kept_bits(self) -> int:
        """The reserved bits. Raises `ValueError` when they overlap a field."""
        if self.reserved_bits & ~self.reserved_mask:
            raise ValueError(
                f"reserved_bits 0x{self.reserved_bits:08X} lie outside the reserved bits "
                f"0x{self.reserved_mask:08X} of this kind of object"
            )
        return self.reserved_bits

    @property
    def reserved_flags(self) -> tuple[str, ...]:
        """A flag when a bit is set that has no meaning yet."""
        return ("reserved-bits-set",) if self.reserved_bits else ()


def peak_flags(code: int) -> tuple[str, ...]:
    """The flag of a peak current code [-]; none for code 0, which allows no overload."""
    return (f"peak-current-{layout.PEAK_CURRENT_PERCENT[code]}-percent",) if code else ()


def type_bits(supply: int, *, augmented: int = 0) -> int:
    """The bits [-] that say which kind of object a word holds."""
    return layout.SUPPLY_TYPE.place_count(
        supply, name="supply type"
    ) | layout.AUGMENTED_TYPE.place_count(augmented, name="augmented type")


def watts(voltage_v: float, *, current_a: float) -> float:
    """Power [W] of two quantities on the millivolt and milliampere grid, without float noise."""
    return round(voltage_v * 1000) * round(current_a * 1000) / 1_000_000
