"""The header of a NumPy array file, read without building what it promises.

The format is documented with NumPy (`numpy.lib.format`, versions 1 to 3): a mark, a version, a
length, and a Python literal with type, order and shape. Objects are never unpickled.
"""

from __future__ import annotations

import ast
import math
from dataclasses import dataclass
from typing import IO, Any

import numpy as np

from measurements.intake.decoding import Refused

MARK = b"\x93NUMPY"
LARGEST_HEADER = 1 << 15
_LENGTH_BYTES = {1: 2, 2: 4, 3: 4}
_KEYS = {"descr", "fortran_order", "shape"}


@dataclass(frozen=True, slots=True)
class Header:
    """What an array is. `size` [byte] is the header's own length."""

    dtype: np.dtype[Any]
    shape: tuple[int, ...]
    fortran_order: bool
    size: int

    @property
    def content_bytes(self) -> int:
        """How many bytes the values take."""
        return math.prod(self.shape) * self.dtype.itemsize


def read_header(file: IO[bytes], *, file_size: int, spoken: str) -> Header:
    """The header at the start of `file`, of `file_size` [byte] with its values.

    Raises `Refused`, naming the array as `spoken`, for what is no array, and for one of plain
    values that are not exactly those that the file holds.
    """
    start = file.read(len(MARK) + 2)
    version = start[len(MARK)] if len(start) == len(MARK) + 2 and start.startswith(MARK) else 0
    length = file.read(_LENGTH_BYTES.get(version, 0))
    text = file.read(min(int.from_bytes(length, "little"), LARGEST_HEADER))
    try:
        header = _parsed(version, length, text)
    except Exception as error:  # whatever a literal or a type from outside stumbles over
        raise Refused(
            f"{spoken} has a damaged header and cannot be read as a NumPy array. Save it again."
        ) from error
    if header.dtype.hasobject:
        return header  # its values are a pickle, whose length nothing tells
    held = file_size - header.size
    if header.content_bytes > held:
        raise Refused(
            f"{spoken} promises {header.content_bytes:,} bytes of values but holds {held:,}: it "
            "was cut off, or its header is wrong. Send it again, whole."
        )
    if header.content_bytes < held:
        raise Refused(
            f"{spoken} holds more bytes than its header speaks of. Save several arrays as one .npz."
        )
    return header


def _parsed(version: int, length: bytes, text: bytes) -> Header:
    if not length or len(text) != int.from_bytes(length, "little"):
        raise ValueError("no array, cut off, or longer than any header")
    said = ast.literal_eval(text.decode("utf-8" if version == 3 else "latin-1"))
    shape = said["shape"]
    if (
        said.keys() != _KEYS
        or not isinstance(shape, tuple)
        or not all(type(side) is int and side >= 0 for side in shape)
        or type(said["fortran_order"]) is not bool
    ):
        raise ValueError("not as documented")
    dtype = np.lib.format.descr_to_dtype(said["descr"])
    if not dtype.itemsize:
        raise ValueError("values of no size")
    return Header(
        dtype,
        shape,
        said["fortran_order"],
        len(MARK) + 2 + len(length) + len(text),
    )
