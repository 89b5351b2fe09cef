"""Messages between the processes: a length of eight bytes, then a pickle.

Both ends are processes of this program that one started from the other; nothing from outside is
ever unpickled.
"""

from __future__ import annotations

import os
import pickle
import struct
from typing import Any

_LENGTH = struct.Struct(">Q")


def packed(message: Any) -> bytes:
    """A message as a frame."""
    content = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    return _LENGTH.pack(len(content)) + content


def unpacked(content: bytes) -> Any:
    """The message of a frame."""
    return pickle.loads(content)  # made by `packed` in a process of ours


def write_all(handle: int, content: bytes) -> None:
    """Write every byte to a file descriptor. Raises `OSError`."""
    rest = memoryview(content)
    while rest:
        rest = rest[os.write(handle, rest) :]


class Frames:
    """Whole frames out of whatever portions arrive."""

    def __init__(self) -> None:
        self._held = bytearray()

    def feed(self, portion: bytes) -> list[bytes]:
        """The contents of the frames that are complete with this portion."""
        self._held += portion
        complete = []
        while len(self._held) >= _LENGTH.size:
            (length,) = _LENGTH.unpack_from(self._held)
            end = _LENGTH.size + length
            if len(self._held) < end:
                break
            complete.append(bytes(self._held[_LENGTH.size : end]))
            del self._held[:end]
        return complete


def framed(content: bytes) -> bytes:
    """The content of a frame as a frame again, to pass it on."""
    return _LENGTH.pack(len(content)) + content
