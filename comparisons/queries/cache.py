"""What a process remembers of cohorts, for as long as the ledger's stamp stands.

Every change to what stands puts a new random stamp on the ledger, in its own transaction.
An entry is used only under the stamp that was read before it was made, so an answer is never
older than the moment its request began.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import Generic, TypeVar

Entry = TypeVar("Entry")


class StampedCache(Generic[Entry]):
    """Least recently used entries up to a total size, all of one stamp."""

    def __init__(self, *, capacity: int) -> None:
        self._capacity = capacity
        self._entries: OrderedDict[Hashable, tuple[Entry, int]] = OrderedDict()
        self._size = 0
        self._stamp: Hashable = None
        self._lock = threading.Lock()

    def get(self, key: Hashable, *, stamp: Hashable) -> Entry | None:
        """The entry, or None when there is none of this stamp."""
        with self._lock:
            if stamp != self._stamp or key not in self._entries:
                return None
            self._entries.move_to_end(key)
            return self._entries[key][0]

    def put(self, key: Hashable, entry: Entry, *, stamp: Hashable, size: int) -> None:
        """Keep an entry of `size` units; entries of another stamp are dropped with it."""
        with self._lock:
            if stamp != self._stamp:
                self._clear()
                self._stamp = stamp
            if key in self._entries:
                self._size -= self._entries.pop(key)[1]
            self._entries[key] = (entry, size)
            self._size += size
            while self._size > self._capacity and len(self._entries) > 1:
                _, (_, dropped) = self._entries.popitem(last=False)
                self._size -= dropped

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._clear()

    def _clear(self) -> None:
        self._entries.clear()
        self._size = 0
        self._stamp = None
