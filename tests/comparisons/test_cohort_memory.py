"""What is remembered of cohorts never differs from what the database says."""

from __future__ import annotations

import random
import uuid
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from catalog.actions import save_adapter
from comparisons.queries.cache import StampedCache
from comparisons.queries.cohorts import known_conditions, load_cohorts, remembered
from measurements.actions import accept_run, withdraw_run
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.models import Ledger, Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log, ready

POWER = all_metrics()["no-load-power"]
HIGH = Condition(line="high")


def standby_cohort(viewer: User | None = None) -> list[tuple[int, float]]:
    cohort = load_cohorts([(POWER, HIGH)], viewer=viewer)[POWER.key, HIGH.key]
    return list(zip(cohort.adapter_ids.tolist(), cohort.values.tolist(), strict=True))


@pytest.mark.django_db
def test_memory_follows_every_change_of_standing_and_embargo(editor: User) -> None:
    dice = random.Random(20261124)
    adapters = [make_adapter(f"Solo {number}") for number in range(5)]
    for step in range(40):
        adapter = dice.choice(adapters)
        provisional = Run.objects.filter(standing="provisional").order_by("pk").first()
        standing = Run.objects.filter(standing="accepted").order_by("pk").last()
        action = dice.choice(["upload", "accept", "withdraw", "embargo"])
        if action == "upload":
            ready(adapter, no_load_log(0.04 + 0.001 * step, minutes=0.5))
        elif action == "accept" and provisional:
            accept_run(provisional, by=editor)
        elif action == "withdraw" and standing:
            withdraw_run(standing, by=editor, reason="a step of the walk")
        elif action == "embargo":
            tomorrow = timezone.now().date() + timedelta(days=1)
            adapter.publish_on = None if adapter.publish_on else tomorrow
            save_adapter(adapter)
        for viewer in (None, editor):
            from_memory = standby_cohort(viewer)
            conditions = known_conditions(POWER, viewer=viewer)
            remembered.clear()
            assert standby_cohort(viewer) == from_memory
            assert known_conditions(POWER, viewer=viewer) == conditions
    assert Run.objects.filter(standing="accepted").exists()


@pytest.mark.django_db
def test_a_remembered_cohort_costs_one_query(
    editor: User, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    accepted(make_adapter(), by=editor)
    standby_cohort()
    with django_assert_num_queries(1):
        assert len(standby_cohort()) == 1


@pytest.mark.django_db
def test_nothing_of_a_rolled_back_change_is_remembered(editor: User) -> None:
    run = ready(make_adapter())
    with transaction.atomic():
        accept_run(run, by=editor)
        assert len(standby_cohort()) == 1
        transaction.set_rollback(True)
    assert standby_cohort() == []


@pytest.mark.django_db
def test_every_turn_gives_a_stamp_that_was_never_there() -> None:
    stamps = set()
    for _ in range(5):
        Ledger.turn()
        stamps.add(Ledger.read())
    assert len(stamps) == 5
    assert Ledger.objects.count() == 1


def test_the_cache_drops_the_least_recently_used_beyond_its_capacity() -> None:
    cache: StampedCache[str] = StampedCache(capacity=10)
    stamp = uuid.uuid4()
    cache.put("a", "A", stamp=stamp, size=4)
    cache.put("b", "B", stamp=stamp, size=4)
    assert cache.get("a", stamp=stamp) == "A"
    cache.put("c", "C", stamp=stamp, size=4)
    assert cache.get("b", stamp=stamp) is None
    assert (cache.get("a", stamp=stamp), cache.get("c", stamp=stamp)) == ("A", "C")


def test_the_cache_forgets_everything_under_a_new_stamp() -> None:
    cache: StampedCache[str] = StampedCache(capacity=10)
    old, new = uuid.uuid4(), uuid.uuid4()
    cache.put("a", "A", stamp=old, size=1)
    assert cache.get("a", stamp=new) is None
    cache.put("b", "B", stamp=new, size=1)
    assert cache.get("a", stamp=old) is None
