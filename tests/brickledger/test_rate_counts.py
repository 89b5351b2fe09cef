"""Counting calls: a sliding minute, one count for all processes, and stores that fail."""

from __future__ import annotations

import math
import multiprocessing
import os
import sqlite3
import threading
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brickledger import rate_counts
from brickledger.rate_counts import Counter, FileStore, RedisStore, StoreAway, Taken

BEGIN_S = 1_800_000_000.0  # a whole minute of the calendar
REDIS = os.environ.get("CELERY_BROKER_URL", "")


class Memory:
    """The rule of the module's heading, written out in another way: every call is remembered.

    The minute before counts as if its calls had been spread evenly over it.
    """

    def __init__(self) -> None:
        self.calls: dict[str, list[int]] = {}

    def take(self, caller: str, *, minute: int, weight: float, limit: int) -> tuple[int, int, int]:
        calls = self.calls.setdefault(caller, [])
        count, before = calls.count(minute), calls.count(minute - 1)
        fits = Fraction(before) * Fraction(weight) + count < limit
        if fits:
            calls.append(minute)
        return int(fits), count + fits, before


@pytest.fixture(params=["file", "redis"])
def counter(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Counter]:
    """A counter over each store; Redis where the tests are told of one."""
    store: FileStore | RedisStore
    if request.param == "file":
        store = FileStore(tmp_path / "new" / "calls.sqlite3")
    elif REDIS.startswith("redis"):
        store = RedisStore(REDIS)
        store._client.delete(*(f"brickledger:calls:test:{name}" for name in "abc"))
    else:
        pytest.skip("CELERY_BROKER_URL names no Redis")
    yield Counter(store)
    store.close()


def take(counter: Counter, after_s: float, *, caller: str = "a", limit: int = 5) -> Taken:
    taken = counter.take(f"test:{caller}", limit=limit, now_s=BEGIN_S + after_s)
    assert taken is not None
    return taken


def test_so_many_calls_and_no_more_are_let_through_in_a_minute(counter: Counter) -> None:
    told = [take(counter, 10 + number) for number in range(7)]

    assert [taken.allowed for taken in told] == [True] * 5 + [False] * 2
    assert [taken.remaining for taken in told] == [4, 3, 2, 1, 0, 0, 0]
    assert {taken.limit for taken in told} == {5}


def test_callers_do_not_count_for_each_other(counter: Counter) -> None:
    for caller in ("a", "b", "c"):
        told = [take(counter, 0, caller=caller).allowed for _ in range(6)]
        assert told == [True] * 5 + [False]


def test_a_new_minute_does_not_begin_from_nothing(counter: Counter) -> None:
    for _ in range(5):
        take(counter, 59)

    # A quarter into the next minute three quarters of 5 still count: 3.75.
    assert [take(counter, 75).allowed for _ in range(3)] == [True, True, False]


def test_after_two_minutes_of_silence_all_is_forgotten(counter: Counter) -> None:
    for _ in range(5):
        take(counter, 59)

    assert [take(counter, 120).allowed for _ in range(6)] == [True] * 5 + [False]


def test_a_client_that_never_pauses_is_slowed_down_and_not_shut_out(counter: Counter) -> None:
    through = [take(counter, second / 2, limit=30).allowed for second in range(1200)]

    assert sum(through[:120]) == 30
    for minute in range(1, 10):
        assert 28 <= sum(through[120 * minute : 120 * (minute + 1)]) <= 31


def test_a_clock_that_lags_behind_another_hosts_wins_nothing(counter: Counter) -> None:
    for _ in range(5):
        take(counter, 61)

    assert not take(counter, 59.9).allowed


def test_a_limit_that_was_lowered_counts_at_once(counter: Counter) -> None:
    for _ in range(50):
        take(counter, 0, limit=50)
    taken = take(counter, 1, limit=5)

    assert not taken.allowed
    assert not take(counter, taken.wait_s - 1, limit=5).allowed
    assert take(counter, 1 + taken.wait_s, limit=5).allowed


@given(
    limit=st.integers(1, 40),
    gaps_s=st.lists(st.floats(0, 45, allow_nan=False), min_size=1, max_size=120),
)
def test_the_wait_that_is_told_is_enough_and_not_a_second_too_long(
    limit: int, gaps_s: list[float]
) -> None:
    memory = Memory()
    counter = Counter(memory)
    now_s = BEGIN_S
    for gap_s in gaps_s:
        now_s += gap_s / limit
        taken = counter.take("a", limit=limit, now_s=now_s)
        assert taken is not None
        if taken.allowed:
            continue
        assert taken.wait_s >= 1
        kept = list(memory.calls["a"])
        later = counter.take("a", limit=limit, now_s=now_s + taken.wait_s)
        memory.calls["a"] = list(kept)
        assert later is not None
        assert later.allowed
        if taken.wait_s > 1:
            sooner = counter.take("a", limit=limit, now_s=now_s + taken.wait_s - 1)
            memory.calls["a"] = list(kept)
            assert sooner is not None
            assert not sooner.allowed


@given(
    limit=st.integers(1, 6),
    times_s=st.lists(st.floats(0, 240, allow_nan=False), min_size=1, max_size=60),
)
def test_the_file_counts_as_the_rule_says(
    limit: int, times_s: list[float], tmp_path_factory: pytest.TempPathFactory
) -> None:
    store = FileStore(tmp_path_factory.mktemp("counts") / "calls.sqlite3")
    ours, rule = Counter(store), Counter(Memory())
    for after_s in sorted(times_s):
        assert take(ours, after_s, limit=limit) == take(rule, after_s, limit=limit)
    store.close()


def _calls(path: Path, share: int, store: FileStore, told: multiprocessing.Queue[int]) -> None:
    counter = Counter(store)
    counted: list[bool] = []

    def work() -> None:
        for _ in range(share):
            taken = counter.take("a", limit=300, now_s=BEGIN_S)
            counted.append(taken is not None and taken.allowed)
        store.close()

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    told.put(sum(counted))


def test_processes_and_threads_that_were_forked_share_one_count(tmp_path: Path) -> None:
    context = multiprocessing.get_context("fork")
    store = FileStore(tmp_path / "calls.sqlite3")
    told: multiprocessing.Queue[int] = context.Queue()
    assert take(Counter(store), 0, caller="before the fork").allowed
    workers = [context.Process(target=_calls, args=(tmp_path, 125, store, told)) for _ in range(2)]
    for worker in workers:
        worker.start()
    counts = [told.get(timeout=60) for _ in workers]
    for worker in workers:
        worker.join(60)

    assert sum(counts) == 300  # of 2 processes × 2 threads × 125 calls
    assert take(Counter(store), 0, caller="after the fork").allowed
    store.close()


def test_callers_of_the_past_are_forgotten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rate_counts, "SWEPT_EVERY", 10)
    store = FileStore(tmp_path / "calls.sqlite3")
    counter = Counter(store)
    for number in range(9):
        take(counter, 0, caller=str(number))
    take(counter, 300, caller="now")

    with sqlite3.connect(tmp_path / "calls.sqlite3") as reader:
        rows = reader.execute("SELECT caller FROM calls").fetchall()
    reader.close()
    store.close()
    assert rows == [("test:now",)]


class Away:
    """A store that always fails, and counts how often it is asked."""

    asked = 0

    def take(self, caller: str, *, minute: int, weight: float, limit: int) -> tuple[int, int, int]:
        self.asked += 1
        raise StoreAway("it is gone")


def test_a_store_that_fails_lets_calls_through_and_says_so_once_a_minute(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    clock = [1000.0]
    monkeypatch.setattr("brickledger.rate_counts.time.monotonic", lambda: clock[0])
    store = Away()
    counter = Counter(store)
    for second in range(121):
        clock[0] = 1000.0 + second
        assert counter.take("a", limit=1, now_s=BEGIN_S) is None

    assert caplog.text.count("all are let through: it is gone") == 3
    assert store.asked == math.ceil(121 / rate_counts.LEFT_ALONE_S)


def test_a_file_that_is_none_of_ours_or_cannot_be_made_is_a_store_that_failed(
    tmp_path: Path,
) -> None:
    (tmp_path / "calls.sqlite3").write_text("not a database, but long enough to look at " * 40)
    (tmp_path / "file").touch()
    for path in (tmp_path / "calls.sqlite3", tmp_path / "file" / "calls.sqlite3"):
        with pytest.raises(StoreAway, match="may be deleted at any time"):
            FileStore(path).take("a", minute=1, weight=1, limit=1)


def test_a_redis_that_is_not_there_is_a_store_that_failed() -> None:
    store = RedisStore("redis://127.0.0.1:1/0")
    with pytest.raises(StoreAway, match="Redis"):
        store.take("a", minute=1, weight=1, limit=1)
    store.close()
