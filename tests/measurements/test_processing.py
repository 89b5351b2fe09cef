"""Claims, leases, fences: a run is computed once, by whoever holds it, and never half."""

from __future__ import annotations

import threading
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db.models import Value as Constant
from django.db.models.functions import Now
from django.utils import timezone
from pytest_django.fixtures import Settings

from measurements import processing, queries
from measurements.actions import accept_run
from measurements.confined import examine
from measurements.kinds.base import Outcome
from measurements.models import Run, RunEvent, Value
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log, ready, receive

pytestmark = pytest.mark.django_db


def open_values(run: Run) -> list[tuple[Any, ...]]:
    """What the run says now, with row numbers and times, so that any change shows."""
    return list(
        run.values.order_by("pk").values_list(
            "pk", "metric", "condition_key", "value", "current_from", "current_until"
        )
    )


def take(run: Run, *, lease_s: float = 30.0) -> int:
    """Hold the run as another worker would; the fence of that claim."""
    Run.objects.filter(pk=run.pk).update(
        state=Run.State.COMPUTING,
        fence=run.fence + 1,
        attempts=run.attempts + 1,
        lease_until=Now() + timedelta(seconds=lease_s),
    )
    return run.fence + 1


def fail_with(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    def measure(*_: object) -> Outcome:
        raise error

    monkeypatch.setattr(processing, "_measure", measure)


def test_a_received_run_becomes_ready_with_its_values() -> None:
    run = receive(make_adapter())
    assert processing.compute(run.pk) == "ready"
    run.refresh_from_db()
    assert (run.state, run.attempts, run.lease_until, run.error) == ("ready", 0, None, "")
    assert {value.metric for value in run.values.all()} == {"no-load-power", "no-load-energy"}
    assert run.trace is not None
    assert RunEvent.objects.filter(run=run, what="computed").count() == 1


def test_a_file_with_a_fault_is_rejected_with_row_and_column() -> None:
    run = receive(make_adapter(), b"time_s,input_power_w\n0,0.1\n1,-0.1\n2,0.1\n")
    assert processing.compute(run.pk) == "rejected"
    run.refresh_from_db()
    assert run.problem_count == 1
    assert run.problems[0]["row"] == 3
    assert run.problems[0]["column"] == "input_power_w"
    assert not run.values.exists()


def test_a_run_that_another_worker_holds_is_left_alone() -> None:
    run = receive(make_adapter())
    fence = take(run)
    assert processing.compute(run.pk) == "computing"
    run.refresh_from_db()
    assert run.fence == fence
    assert not run.values.exists()


def test_of_two_workers_that_claim_at_the_same_time_one_gets_the_run() -> None:
    run = receive(make_adapter())
    claims = [processing._claim(run.pk, again=False) for _ in range(2)]
    assert claims == [1, None]


def test_an_expired_lease_is_taken_over_and_the_run_is_finished() -> None:
    run = receive(make_adapter())
    fence = take(run, lease_s=-1)
    assert processing.compute(run.pk) == "ready"
    run.refresh_from_db()
    assert run.fence == fence + 1


def test_a_worker_that_lost_its_claim_writes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    run = receive(make_adapter())
    real = processing._measure

    def slow(run_id: Any, fence: int) -> Any:
        outcome = real(run_id, fence)
        # While it computed, its lease ran out and another worker took the run.
        Run.objects.filter(pk=run_id).update(fence=fence + 1)
        return outcome

    monkeypatch.setattr(processing, "_measure", slow)
    assert processing.compute(run.pk) == "computing"
    assert not run.values.exists()
    assert not RunEvent.objects.filter(run=run, what="computed").exists()


def test_a_lost_claim_is_noticed_between_steps_before_anything_is_computed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = receive(make_adapter())

    def taken_over(*args: Any, **options: Any) -> Any:
        Run.objects.filter(pk=run.pk).update(fence=99)
        return examine(*args, **options)

    monkeypatch.setattr(processing, "examine", taken_over)
    assert processing.compute(run.pk) == "computing"
    run.refresh_from_db()
    assert (run.fence, run.step) == (99, "reading the file")


def test_a_stale_worker_that_fails_does_not_release_the_run_of_its_successor(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = receive(make_adapter())

    def taken_over_then_broken(run_id: Any, fence: int) -> Any:
        Run.objects.filter(pk=run_id).update(fence=fence + 1)
        raise RuntimeError("too late")

    monkeypatch.setattr(processing, "_measure", taken_over_then_broken)
    assert processing.compute(run.pk) == "computing"
    run.refresh_from_db()
    assert run.error == ""


def test_an_unexpected_error_is_tried_again_later_each_time(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    settings.MAX_ATTEMPTS = 3
    run = receive(make_adapter())
    fail_with(monkeypatch, RuntimeError("a worm in the wire"))
    waits = []
    for attempt in (1, 2):
        assert processing.compute(run.pk) == "received"
        run.refresh_from_db()
        assert run.attempts == attempt
        assert run.error == "RuntimeError: a worm in the wire"
        assert not Run.objects.due().exists()
        waits.append(run.due_at - timezone.now())
    assert waits[1] > waits[0] > timedelta(seconds=1)
    assert processing.compute(run.pk) == "set-aside"
    run.refresh_from_db()
    assert RunEvent.objects.filter(run=run, what="set aside").count() == 1
    assert processing.compute(run.pk) == "set-aside"  # and stays so without a person


def test_a_run_that_kills_its_worker_every_time_is_set_aside(settings: Settings) -> None:
    run = receive(make_adapter())
    for _ in range(settings.MAX_ATTEMPTS):
        assert processing._claim(run.pk, again=False) is not None
        # The process dies here, without a trace; the lease runs out.
        Run.objects.filter(pk=run.pk).update(lease_until=Now() - timedelta(seconds=1))
    assert processing.compute(run.pk) == "set-aside"
    run.refresh_from_db()
    assert run.error == "The worker died every time it computed this run."
    assert run.lease_until is None


def test_a_run_set_aside_is_computed_when_a_person_asks_again() -> None:
    run = receive(make_adapter())
    Run.objects.filter(pk=run.pk).update(state=Run.State.SET_ASIDE, attempts=4, error="old")
    assert processing.compute(run.pk, again=True) == "ready"
    run.refresh_from_db()
    assert (run.error, run.attempts) == ("", 0)


def test_computing_twice_changes_nothing(reviewer: Any, editor: Any) -> None:
    run = accepted(make_adapter(), by=editor)
    before = open_values(run)
    for _ in range(2):
        assert processing.compute(run.pk, again=True) == "ready"
    assert open_values(run) == before
    assert run.verdicts.count() == len(set(run.verdicts.values_list("scheme", "quantity")))


def test_a_finished_run_is_not_computed_again_by_a_late_ring() -> None:
    run = ready(make_adapter())
    fence = run.fence
    assert processing.compute(run.pk) == "ready"
    run.refresh_from_db()
    assert run.fence == fence


def test_an_instrument_added_later_closes_the_value_and_opens_its_successor(editor: Any) -> None:
    run = accepted(make_adapter(), by=editor)
    old = run.values.current().get(metric="no-load-power")
    run.instruments.add(make_meter())
    processing.compute(run.pk, again=True)
    old.refresh_from_db()
    new = run.values.current().get(metric="no-load-power")
    assert new.value == old.value
    assert new.standard_uncertainty > old.standard_uncertainty
    assert old.current_until == new.current_from  # at no moment were there none or two


def test_recomputing_a_run_nobody_accepted_replaces_its_values() -> None:
    run = ready(make_adapter())
    run.instruments.add(make_meter())
    processing.compute(run.pk, again=True)
    assert run.values.count() == 2
    assert not run.values.exclude(current_from=None).exists()


def test_recomputing_a_superseded_run_leaves_what_stands_alone(editor: Any) -> None:
    adapter = make_adapter()
    first = accepted(adapter, no_load_log(0.05), by=editor)
    second = accepted(adapter, no_load_log(0.06), by=editor)
    stands = open_values(second)
    first.instruments.add(make_meter())
    assert processing.compute(first.pk, again=True) == "ready"
    assert open_values(second) == stands
    assert not first.values.current().exists()


def test_an_accepted_run_that_can_no_longer_be_computed_gives_its_place_up(
    editor: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = accepted(make_adapter(), by=editor)

    def refuse(*_: object) -> Outcome:
        raise processing.Rejected(())

    monkeypatch.setattr(processing, "_measure", refuse)
    assert processing.compute(run.pk, again=True) == "rejected"
    assert not run.values.current().exists()
    assert run.values.exclude(current_until=None).count() == 2  # readers saw them


def test_a_damaged_file_is_not_computed_and_says_so(
    own_raw_store: Path, settings: Settings
) -> None:
    settings.MAX_ATTEMPTS = 1
    run = receive(make_adapter())
    path = queries.raw_store().path(run.raw_id)
    path.chmod(0o644)
    path.write_bytes(b"time_s,input_power_w\n0,0.001\n")
    assert processing.compute(run.pk) == "set-aside"
    run.refresh_from_db()
    assert "altered" in run.error
    assert "backup" in run.error


def test_a_missing_file_is_not_computed_and_says_so(settings: Settings) -> None:
    settings.MAX_ATTEMPTS = 1
    run = receive(make_adapter())
    queries.raw_store().path(run.raw_id).unlink()
    assert processing.compute(run.pk) == "set-aside"
    run.refresh_from_db()
    assert "missing" in run.error


def test_an_unknown_run_is_no_error() -> None:
    assert processing.compute(Run().pk) == "unknown"


def test_a_ready_run_that_is_recomputed_keeps_its_standing(editor: Any) -> None:
    run = accept_run(ready(make_adapter()), by=editor)
    accepted_at = run.accepted_at
    processing.compute(run.pk, again=True)
    run.refresh_from_db()
    assert (run.standing, run.accepted_at) == (Run.Standing.ACCEPTED, accepted_at)


def test_the_lease_is_renewed_for_as_long_as_the_computation_takes(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    renewed: list[timedelta] = []
    often_enough = threading.Event()

    class Watched:
        def update(self, **columns: Any) -> int:
            expression = columns["lease_until"]
            (constant,) = [
                item for item in expression.get_source_expressions() if isinstance(item, Constant)
            ]
            renewed.append(constant.value)
            if len(renewed) == 3:
                often_enough.set()
            return 1

    settings.LEASE_SECONDS = 0.03
    monkeypatch.setattr(processing, "_held", lambda *_: Watched())
    with processing._lease_kept(Run().pk, 1):
        assert often_enough.wait(timeout=30)
    assert set(renewed) == {timedelta(seconds=0.03)}


def test_at_most_one_value_stands_for_a_metric_and_condition(editor: Any) -> None:
    adapter = make_adapter()
    for power_w in (0.05, 0.06, 0.07):
        accepted(adapter, no_load_log(power_w), by=editor)
    standing = Value.objects.current().filter(adapter=adapter).exclude(run=None)
    keys = list(standing.values_list("metric", "condition_key"))
    assert len(keys) == len(set(keys)) == 2
