"""Walks from page to page while others write: no row is missed, none is met twice.

What a cursor promises is the definition of keyset pagination: a page begins after the key of
the last row that was met, so rows that come in before or behind it move nothing. The walks know
nothing of keys: they follow `next` and compare what they met with what stood when they began.
"""

from __future__ import annotations

import random
import uuid
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection, connections, transaction
from django.utils import timezone
from rest_framework.test import APIClient

from catalog.models import Adapter, Maker, Unit
from catalog.rest.paging import MAX_LIMIT
from comparisons.queries.cohorts import known_conditions
from measurements.kinds.base import Condition
from measurements.models import Ledger, RawFile, Run, Value

pytestmark = pytest.mark.django_db(transaction=True, serialized_rollback=True)

OLD, NEW = 5000, 1000
BATCHES = 25
PAGE = 250  # rows: twenty pages a walk
FIRST_VALUE = 1_000_000  # its id; no sequence of the database has come so far
NEW_EVERY = 10  # keys that lie free between two old rows


@dataclass
class Bench:
    """Adapters, each with a run and a value, at places that are counted from 0.

    Place `p` is in the middle of every list for a `p` in the middle of those that are filled:
    slugs, ids of runs and ids of values all rise with it. The values themselves are shuffled.
    """

    began: datetime = field(default_factory=lambda: timezone.now() - timedelta(days=30))
    maker: Maker = field(default_factory=lambda: Maker.objects.create(name="N", slug="n"))
    raw: RawFile = field(default_factory=lambda: RawFile.objects.create(sha256="0" * 64, size=0))

    def fill(self, places: Sequence[int], *, since: datetime) -> None:
        """Write an adapter, a unit, a run and a value at each place, in one transaction."""
        with transaction.atomic():
            adapters = Adapter.objects.bulk_create(
                Adapter(
                    maker=self.maker,
                    name=f"Solo {place}",
                    slug=slug_at(place),
                    rated_power_w=65.0,
                )
                for place in places
            )
            units = Unit.objects.bulk_create(Unit(adapter=adapter) for adapter in adapters)
            runs = Run.objects.bulk_create(
                self._run(place, adapter, unit)
                for place, adapter, unit in zip(places, adapters, units, strict=True)
            )
            Value.objects.bulk_create(
                Value(
                    pk=FIRST_VALUE + place,
                    adapter=adapter,
                    run=run,
                    metric="no-load-power",
                    condition_key="line=high",
                    line="high",
                    value=value_at(place),
                    standard_uncertainty=1e-9,
                    method="1.0",
                    current_from=since,
                )
                for place, adapter, run in zip(places, adapters, runs, strict=True)
            )
            Ledger.turn()

    def _run(self, place: int, adapter: Adapter, unit: Unit) -> Run:
        return Run(
            id=uuid.UUID(run_at(place)),
            adapter=adapter,
            unit=unit,
            kind="no-load",
            raw=self.raw,
            file_name="log.csv",
            identity=f"{place}",
            line="high",
            mains_v=230.0,
            state=Run.State.READY,
            standing=Run.Standing.ACCEPTED,
            accepted_at=self.began,
        )


def value_at(place: int) -> float:
    """The standby value [W] of an adapter: 7919 is a prime, so that neighbours lie far apart."""
    return 0.01 + (place * 7919 % 50_021) * 1e-6


def run_at(place: int) -> str:
    """A run's id, of version 7 (RFC 9562, 5.7), that rises with the place."""
    return str(uuid.UUID(int=(1_700_000_000_000 + place) << 80 | 0x7 << 76 | 0x2 << 62))


def slug_at(place: int) -> str:
    """An adapter's slug."""
    return f"n-solo-{place:06}"


class Others:
    """Somebody else, in a thread and a connection of their own, who writes batch after batch.

    On PostgreSQL a batch is written while pages are read. SQLite keeps its test database in
    memory, where a reader beside a writer is refused at once; there they take turns.
    """

    def __init__(self, batches: Sequence[Callable[[], None]]) -> None:
        self.batches = list(batches)
        self._thread = ThreadPoolExecutor(max_workers=1)
        self._present: Future[None] | None = None

    def go_on(self) -> None:
        """Begin with the next batch, once the one before is written."""
        self.rest()
        if self.batches:
            self._present = self._thread.submit(self.batches.pop(0))
        if connection.vendor == "sqlite":
            self.rest()

    def rest(self) -> None:
        """Return when nothing is being written; raises what went wrong."""
        if self._present is not None:
            self._present.result()

    def leave(self) -> None:
        """Close the connection and end the thread."""
        self._thread.submit(connections.close_all).result()
        self._thread.shutdown()


@dataclass
class Walk:
    """One reader's way through a list: what was met, told by one field of each row."""

    next: str | None
    name: str
    met: list[Any] = field(default_factory=list)

    def step(self) -> list[Any]:
        """Read the next page; its rows."""
        assert self.next is not None
        answer = APIClient().get(self.next)
        assert answer.status_code == 200, answer.content
        page = answer.json()
        self.met += [row[self.name] for row in page["results"]]
        self.next = page["next"]
        return list(page["results"])

    def go_to_the_end(self) -> list[Any]:
        """Read all that is left; everything that was met."""
        while self.next is not None:
            self.step()
        return self.met


@pytest.fixture
def bench() -> Bench:
    """An empty bench."""
    return Bench()


@pytest.fixture
def others(bench: Bench) -> Iterator[Others]:
    """Those who write down a thousand more adapters, runs and values at random places."""
    chance = random.Random(1000)
    free = [place for place in range(OLD * NEW_EVERY) if place % NEW_EVERY]
    new = chance.sample(free, NEW)
    size = NEW // BATCHES

    def batch(number: int) -> Callable[[], None]:
        places = new[number * size : (number + 1) * size]
        return lambda: bench.fill(places, since=timezone.now())

    writing = Others([batch(number) for number in range(BATCHES)])
    yield writing
    writing.leave()


def test_every_old_row_is_met_once_and_a_new_one_at_most_once(bench: Bench, others: Others) -> None:
    old = range(0, OLD * NEW_EVERY, NEW_EVERY)
    bench.fill(old, since=bench.began)
    walks = {
        "values": Walk(f"/api/v1/values/?limit={PAGE}", "run"),
        "runs": Walk(f"/api/v1/runs/?limit={PAGE}", "id"),
        "adapters": Walk(f"/api/v1/adapters/?limit={PAGE}", "slug"),
    }
    while others.batches or any(walk.next for walk in walks.values()):
        others.go_on()
        for walk in walks.values():
            if walk.next is not None:
                walk.step()
    others.rest()
    assert Value.objects.count() == OLD + NEW
    for name, walk in walks.items():
        key = slug_at if name == "adapters" else run_at
        times = Counter(walk.met)
        assert [place for place in old if times[key(place)] != 1] == [], name
        assert max(times.values()) == 1, name
        assert OLD < len(walk.met) < OLD + NEW, name  # some came in before the walk, some behind


def test_a_walk_goes_on_in_the_ranking_as_it_was_when_it_began(
    bench: Bench, others: Others
) -> None:
    old = range(0, OLD * NEW_EVERY, NEW_EVERY)
    bench.fill(old, since=bench.began)
    walk = Walk(f"/api/v1/rankings/no-load-power/?line=high&limit={MAX_LIMIT}", "adapter")
    ranks = []
    while walk.next is not None:
        ranks += [row["rank"] for row in walk.step()]
        # Between the pages, at random places of the ranking.
        for _ in range(BATCHES * MAX_LIMIT // OLD):
            others.go_on()
        others.rest()
    assert Value.objects.count() > OLD + NEW / 2
    assert walk.met == [slug_at(place) for place in sorted(old, key=value_at)]
    assert ranks == list(range(1, OLD + 1))


@pytest.mark.parametrize("replaced", ["behind the reader", "before the reader"])
def test_a_value_that_is_replaced_during_a_walk_is_met_as_the_one_or_the_other_or_both(
    bench: Bench, replaced: str
) -> None:
    """The new value stands at the end of the list, where every walk comes; so none is missed."""
    bench.fill(range(6), since=bench.began)
    walk = Walk("/api/v1/values/?limit=3", "adapter")
    walk.step()
    place = 1 if replaced == "behind the reader" else 4
    now = timezone.now()
    with transaction.atomic():
        Value.objects.filter(pk=FIRST_VALUE + place).update(current_until=now)
        standing = Value.objects.get(pk=FIRST_VALUE + place)
        standing.pk, standing.value, standing.run = FIRST_VALUE + 1000, 0.5, None
        standing.current_from, standing.current_until = now, None
        standing.save(force_insert=True)
        Ledger.turn()
    times = Counter(walk.go_to_the_end())
    twice = 1 if replaced == "behind the reader" else 0
    assert times == Counter({slug_at(number): 1 for number in range(6)}) + Counter(
        {slug_at(place): twice}
    )
    assert walk.met[-1] == slug_at(place)


def test_a_walk_through_the_places_of_an_adapter_bears_places_that_come_and_go(
    bench: Bench,
) -> None:
    bench.fill(range(3), since=bench.began)
    adapter = Adapter.objects.get(slug=slug_at(0))

    def stand(*outputs: float) -> None:
        Value.objects.bulk_create(
            Value(
                adapter=adapter,
                metric="average-efficiency",
                condition_key=Condition(line="high", output_v=volts).key,
                line="high",
                output_v=volts,
                value=90.0,
                standard_uncertainty=0.1,
                method="1.0",
                current_from=bench.began,
            )
            for volts in outputs
        )
        Ledger.turn()

    old = (20.0, 15.0, 12.0, 9.0, 5.0)  # the order of the list, after standby power
    stand(*old)
    walk = Walk(f"/api/v1/adapters/{adapter.slug}/placements/?limit=2", "condition")
    walk.step()
    stand(28.0, 36.0, 3.3)  # two come in before the page that was read, one behind it
    walk.step()
    Value.objects.filter(adapter=adapter, output_v=36.0).delete()
    walk.go_to_the_end()
    met = Counter(condition.get("output_v") for condition in walk.met)
    assert {volts: met[volts] for volts in (None, *old)} == dict.fromkeys((None, *old), 1)
    assert max(met.values()) == 1


@pytest.mark.parametrize("page", [1, 2])
def test_what_is_written_while_a_page_of_a_ranking_is_made_moves_no_old_row(
    bench: Bench, page: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the queries of one page somebody else's commit may come; here it comes for sure."""
    old = range(0, 12, 2)
    bench.fill(old, since=bench.began)
    walk = Walk("/api/v1/rankings/no-load-power/?line=high&limit=2", "adapter")
    for _ in range(page - 1):
        walk.step()
    with monkeypatch.context() as patch:

        def write_and_ask(*args: Any, **options: Any) -> Any:
            bench.fill([1], since=timezone.now())  # the second best
            return known_conditions(*args, **options)

        patch.setattr("comparisons.api.known_conditions", write_and_ask)
        walk.step()
    times = Counter(walk.go_to_the_end())
    assert [place for place in old if times[slug_at(place)] != 1] == []


def test_what_is_committed_late_moves_no_old_row_of_a_ranking(bench: Bench) -> None:
    """A commit may bear an earlier time than one that was seen before it."""
    old = range(0, 12, 2)
    bench.fill(old, since=bench.began)
    walk = Walk("/api/v1/rankings/no-load-power/?line=high&limit=2", "adapter")
    walk.step()
    bench.fill([1], since=bench.began - timedelta(seconds=1))
    times = Counter(walk.go_to_the_end())
    assert [place for place in old if times[slug_at(place)] != 1] == []
