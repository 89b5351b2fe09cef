"""The sweeper rings again for what nobody works on."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db.models.functions import Now

from measurements import sweeper, tasks
from measurements.models import Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import no_load_log, ready, receive

pytestmark = pytest.mark.django_db

AT_ONCE = timedelta(0)


def set_run(run: Run, **columns: object) -> None:
    Run.objects.filter(pk=run.pk).update(**columns)


def test_a_run_whose_ring_was_lost_is_rung_for_again(bell: list[str]) -> None:
    run = receive(make_adapter())
    set_run(run, rung_at=Now() - timedelta(minutes=1))
    assert sweeper.sweep() == 1
    assert bell == [str(run.pk)]


def test_a_run_rung_for_a_moment_ago_is_given_time(bell: list[str]) -> None:
    run = receive(make_adapter())
    set_run(run, rung_at=Now())
    assert sweeper.sweep(patience=timedelta(seconds=60)) == 0
    assert bell == []


def test_a_run_whose_worker_fell_silent_is_rung_for(bell: list[str]) -> None:
    run = receive(make_adapter())
    past = Now() - timedelta(seconds=1)
    set_run(run, state=Run.State.COMPUTING, lease_until=past, rung_at=None)
    assert sweeper.sweep() == 1
    assert bell == [str(run.pk)]


def test_a_run_that_is_being_computed_is_left_alone(bell: list[str]) -> None:
    run = receive(make_adapter())
    later = Now() + timedelta(seconds=30)
    set_run(run, state=Run.State.COMPUTING, lease_until=later, rung_at=None)
    assert sweeper.sweep(patience=AT_ONCE) == 0


def test_a_run_that_waits_for_its_next_attempt_is_left_alone(bell: list[str]) -> None:
    run = receive(make_adapter())
    set_run(run, due_at=Now() + timedelta(seconds=30), rung_at=None)
    assert sweeper.sweep(patience=AT_ONCE) == 0


def test_finished_runs_are_left_alone(bell: list[str]) -> None:
    run = ready(make_adapter())
    set_run(run, rung_at=None)
    assert sweeper.sweep(patience=AT_ONCE) == 0


def test_the_longest_waiting_run_is_rung_for_first(bell: list[str]) -> None:
    adapter = make_adapter()
    runs = [receive(adapter, no_load_log(0.05 + number / 100)) for number in range(3)]
    for run, minutes in zip(runs, (1, 3, 2), strict=True):
        set_run(run, due_at=Now() - timedelta(minutes=minutes), rung_at=None)
    sweeper.sweep()
    assert bell == [str(runs[number].pk) for number in (1, 2, 0)]


def test_a_silent_broker_ends_the_pass_without_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    adapter = make_adapter()
    for number in range(2):
        set_run(receive(adapter, no_load_log(0.05 + number / 100)), rung_at=None)
    tried: list[object] = []

    def silent(run_id: object) -> bool:
        tried.append(run_id)
        return False

    monkeypatch.setattr(tasks, "ring", silent)
    assert sweeper.sweep() == 0
    assert len(tried) == 1
