"""From words to power data objects and back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from catalog.power_delivery import layout
from catalog.power_delivery.augmented import (
    ExtendedAdjustableSupply,
    Padding,
    ProgrammableSupply,
    ReservedObject,
    StandardAdjustableSupply,
)
from catalog.power_delivery.supplies import BatterySupply, FixedSupply, VariableSupply

DataObject: TypeAlias = (
    FixedSupply
    | BatterySupply
    | VariableSupply
    | ProgrammableSupply
    | ExtendedAdjustableSupply
    | StandardAdjustableSupply
    | Padding
    | ReservedObject
)


_SUPPLIES: tuple[type[FixedSupply] | type[BatterySupply] | type[VariableSupply], ...] = (
    FixedSupply,
    BatterySupply,
    VariableSupply,
)
_AUGMENTED: tuple[
    type[ProgrammableSupply]
    | type[ExtendedAdjustableSupply]
    | type[StandardAdjustableSupply]
    | type[ReservedObject],
    ...,
] = (ProgrammableSupply, ExtendedAdjustableSupply, StandardAdjustableSupply, ReservedObject)


def decode(word: int, *, position: int) -> DataObject:
    """Decode one source power data object. Every 32-bit word has a meaning or is kept raw.

    Parameters
    ----------
    word : int
        The word as a number, bit 31 the highest. [-]
    position : int
        Its place in the message, from 1; only the object in position 1 speaks for the
        whole source. [-]

    Returns
    -------
    object : DataObject
        Its kind and quantities. [V, A and W]

    Raises
    ------
    ValueError
        If the word is not 0 to 0xFFFFFFFF, or the position is less than 1.
    """
    if not 0 <= word <= layout.LARGEST_WORD:
        raise ValueError(f"a power data object has 32 bits; {word:#x} is outside 0 to 0xFFFFFFFF")
    if position < 1:
        raise ValueError(f"positions count from 1, not {position}")
    if word == Padding.word:
        return Padding(position=position)
    supply = layout.SUPPLY_TYPE.count(word)
    if supply < len(_SUPPLIES):
        return _SUPPLIES[supply].read(word, position=position)
    return _AUGMENTED[layout.AUGMENTED_TYPE.count(word)].read(word, position=position)


def decode_all(words: Sequence[int]) -> tuple[DataObject, ...]:
    """Decode the words of one message, the first in position 1.

    Parameters
    ----------
    words : sequence of int
        The words in the order in which the source sent them. [-]

    Returns
    -------
    objects : tuple of DataObject
        One object a word. [V, A and W]
    """
    return tuple(decode(word, position=place) for place, word in enumerate(words, start=1))


def encode(data_object: DataObject) -> int:
    """The word of an object: what `decode` read, or what a source would send.

    Parameters
    ----------
    data_object : DataObject
        Any object. [V, A and W]

    Returns
    -------
    word : int
        The 32-bit word. [-]

    Raises
    ------
    ValueError
        If a quantity is between two steps of its field or too large for it.
    """
    return data_object.word
