"""Counting the calls of each caller, over all web processes.

A sliding minute from two counts: the present minute's, and the one before it weighted by the
share of it that lies less than a minute back (a common approximation). Calls that are refused
do not count, so that a client that never pauses is slowed down and not shut out.

The counts are in Redis where Redis is the bell, and so hold over all hosts; else in a SQLite
file of their own, for the processes of one host. Both may be lost at any time.
"""

from __future__ import annotations

import logging
import math
import os
import sqlite3
import threading
import time
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol

from django.conf import settings

logger = logging.getLogger(__name__)

WINDOW_S = 60
PATIENCE_S = 0.25
"""How long a call may wait for a store that does not answer."""
LEFT_ALONE_S = 5.0
"""How long a store that failed is not asked again, so that not every call waits for it."""
LOGGED_EVERY_S = 60.0
SWEPT_EVERY = 1000
"""Calls of one thread after which callers of the past are forgotten."""


class StoreAway(Exception):
    """The counts cannot be had just now."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A call that was counted, or refused: what the caller has left, and when there is more."""

    allowed: bool
    limit: int
    remaining: int
    wait_s: int
    """Whole seconds: until a refused call would be let through, else until the minute ends."""


class Store(Protocol):
    """Where counts are kept."""

    def take(self, caller: str, *, minute: int, weight: float, limit: int) -> tuple[int, int, int]:
        """Count a call if it is within the limit, in one indivisible step.

        `weight` is the share of the minute before that still matters. Returns whether the call
        was counted (0 or 1), the minute's count and that of the minute before. Raises
        `StoreAway`.
        """


_BEFORE = (
    "CASE WHEN minute >= excluded.minute THEN before "
    "WHEN minute = excluded.minute - 1 THEN count ELSE 0 END"
)
_COUNT = "CASE WHEN minute >= excluded.minute THEN count ELSE 0 END"
_FITS = f"({_BEFORE}) * :weight + ({_COUNT}) < :limit"
_TABLE = (
    "CREATE TABLE IF NOT EXISTS calls (caller TEXT PRIMARY KEY, minute INTEGER NOT NULL, "
    "count INTEGER NOT NULL, before INTEGER NOT NULL, counted INTEGER NOT NULL) WITHOUT ROWID"
)
_TAKE = (
    "INSERT INTO calls VALUES (:caller, :minute, 1, 0, 1) ON CONFLICT (caller) DO UPDATE SET "
    f"counted = {_FITS}, count = ({_COUNT}) + ({_FITS}), before = {_BEFORE}, "
    "minute = max(minute, excluded.minute) RETURNING counted, count, before"
)


class FileStore:
    """Counts in a SQLite file; a connection for each thread, made again after a fork."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._own = threading.local()

    def take(self, caller: str, *, minute: int, weight: float, limit: int) -> tuple[int, int, int]:
        """One statement, so that no other process comes between."""
        said = {"caller": caller, "minute": minute, "weight": weight, "limit": limit}
        try:
            connection = self._connection()
            # All rows are read, because the statement holds the lock until its end.
            ((counted, count, before),) = connection.execute(_TAKE, said).fetchall()
            self._own.calls += 1
            if self._own.calls % SWEPT_EVERY == 0:
                connection.execute("DELETE FROM calls WHERE minute < ?", (minute - 1,))
        except (sqlite3.Error, OSError) as error:
            self.close()
            if isinstance(error, sqlite3.DatabaseError) and "not a database" in str(error):
                self._path.unlink(missing_ok=True)  # it is made anew with the next call
            raise StoreAway(f"{self._path}: {error}; it may be deleted at any time") from error
        return counted, count, before

    def close(self) -> None:
        """Let go of this thread's connection."""
        connection = getattr(self._own, "connection", None)
        self._own.connection = None
        if connection is not None and self._own.pid == os.getpid():
            connection.close()

    def _connection(self) -> sqlite3.Connection:
        own = self._own
        if getattr(own, "connection", None) is None or own.pid != os.getpid():
            self._path.parent.mkdir(parents=True, exist_ok=True)
            opened = sqlite3.connect(self._path, timeout=PATIENCE_S, isolation_level=None)
            opened.execute("PRAGMA journal_mode=WAL")
            # Nothing here is worth a wait for the disk.
            opened.execute("PRAGMA synchronous=OFF")
            opened.execute(_TABLE)
            own.connection, own.pid, own.calls = opened, os.getpid(), 0
        found: sqlite3.Connection = own.connection
        return found


_SCRIPT = """
local minute, weight, limit = tonumber(ARGV[1]), tonumber(ARGV[2]), tonumber(ARGV[3])
local kept = redis.call('HMGET', KEYS[1], 'minute', 'count', 'before')
local then_, count, before = tonumber(kept[1] or 0), tonumber(kept[2] or 0), tonumber(kept[3] or 0)
if then_ < minute then
  before = (then_ == minute - 1) and count or 0
  count = 0
end
local counted = (before * weight + count < limit) and 1 or 0
count = count + counted
local last = math.max(then_, minute)
redis.call('HSET', KEYS[1], 'minute', last, 'count', count, 'before', before)
redis.call('EXPIRE', KEYS[1], 2 * ARGV[4])
return {counted, count, before}
"""


class RedisStore:
    """Counts in Redis, shared by all hosts: one script, one round trip."""

    def __init__(self, url: str) -> None:
        # Only a site that has Redis pays for the client's import.
        from redis import Redis  # noqa: PLC0415

        self._client = Redis.from_url(
            url, socket_timeout=PATIENCE_S, socket_connect_timeout=PATIENCE_S
        )
        self._script = self._client.register_script(_SCRIPT)

    def take(self, caller: str, *, minute: int, weight: float, limit: int) -> tuple[int, int, int]:
        """One script, which Redis runs without interruption."""
        from redis.exceptions import RedisError  # noqa: PLC0415 see above

        try:
            answer: Any = self._script(
                keys=[f"brickledger:calls:{caller}"], args=[minute, weight, limit, WINDOW_S]
            )
        except (RedisError, OSError, ValueError) as error:
            raise StoreAway(f"Redis: {error}") from error
        counted, count, before = answer
        return counted, count, before

    def close(self) -> None:
        """Let go of the connections."""
        self._client.close()


class Counter:
    """A store, and what is done when it fails: calls are let through, and the log says so."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._away_until = self._silent_until = -math.inf

    def take(self, caller: str, *, limit: int, now_s: float) -> Taken | None:
        """Count a call at the time `now_s` [s since 1970]; None where that cannot be done."""
        if time.monotonic() < self._away_until:
            return None
        minute, elapsed_s = divmod(now_s, WINDOW_S)
        weight = 1 - elapsed_s / WINDOW_S
        try:
            counted, count, before = self._store.take(
                caller, minute=int(minute), weight=weight, limit=limit
            )
        except StoreAway as error:
            self._note(error)
            return None
        if counted:
            left = math.floor(limit - before * weight - count)
            return Taken(True, limit, max(left, 0), math.ceil(WINDOW_S - elapsed_s))
        wait_s = _wait_s(limit=limit, count=count, before=before, elapsed_s=elapsed_s)
        return Taken(False, limit, 0, wait_s)

    def _note(self, error: StoreAway) -> None:
        now = time.monotonic()
        self._away_until = now + LEFT_ALONE_S
        if now >= self._silent_until:
            self._silent_until = now + LOGGED_EVERY_S
            logger.error("Calls are not counted, and all are let through: %s", error)


def _wait_s(*, limit: int, count: int, before: int, elapsed_s: float) -> int:
    """Whole seconds after which a caller that stays silent is under the limit again."""
    if count < limit:
        # The minute before has to fade until before × weight + count < limit.
        exact = WINDOW_S * (1 - (limit - count) / before) - elapsed_s
    else:
        # Then this minute has to, as the one before.
        exact = WINDOW_S - elapsed_s + WINDOW_S * (1 - limit / count)
    return max(1, math.floor(exact) + 1)


@lru_cache(maxsize=8)
def _counter(broker: str, folder: Path) -> Counter:
    is_redis = broker.startswith(("redis:", "rediss:"))
    return Counter(RedisStore(broker) if is_redis else FileStore(folder / "calls.sqlite3"))


def counter() -> Counter:
    """This process's way to the site's counts."""
    return _counter(settings.CELERY_BROKER_URL, settings.DATA_DIR)
