"""People and workers at the same instant, on a database that lets them truly run side by side.

SQLite lets one writer in at a time and keeps its test database in memory; there the fault
tests race whole processes instead.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection

from comparisons.actions import Refused as TableRefused
from comparisons.actions import publish_comparison, save_comparison
from comparisons.models import Comparison
from measurements import processing
from measurements.actions import Refused, RunFacts, accept_run, receive_run
from measurements.models import Run, RunEvent, Value
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log, ready, receive

pytestmark = [
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
    pytest.mark.skipif(connection.vendor == "sqlite", reason="needs PostgreSQL (DATABASE_URL)"),
]


def at_once(actions: Sequence[Callable[[], Any]]) -> list[Any]:
    """Run every action in a thread of its own from one starting shot; results or exceptions."""
    results: list[Any] = [None] * len(actions)
    shot = threading.Barrier(len(actions))

    def run(position: int) -> None:
        shot.wait()
        try:
            results[position] = actions[position]()
        except Exception as error:
            results[position] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(len(actions))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_one_file_sent_by_eight_clients_at_once_makes_one_run() -> None:
    facts = RunFacts(adapter=make_adapter(), kind="no-load", mains_v=230.0)
    content = no_load_log(minutes=1)

    def send() -> tuple[Any, bool]:
        received = receive_run(facts, chunks=[content], file_name="log.csv", by=None)
        return received.run.pk, received.created

    answers = at_once([send] * 8)
    assert len({pk for pk, _ in answers}) == 1
    assert [created for _, created in answers].count(True) == 1
    assert Run.objects.count() == 1


def test_two_runs_accepted_at_once_leave_one_standing_value(editor: User) -> None:
    adapter = make_adapter()
    runs = [ready(adapter, no_load_log(power_w)) for power_w in (0.05, 0.06, 0.07)]
    answers = at_once([lambda run=run: accept_run(run, by=editor) for run in runs])  # type: ignore[misc]
    assert not [answer for answer in answers if isinstance(answer, Exception)]
    standing = Value.objects.current().filter(adapter=adapter, metric="no-load-power")
    assert standing.count() == 1
    assert sorted(Run.objects.values_list("standing", flat=True)) == [
        "accepted",
        "superseded",
        "superseded",
    ]
    assert standing.get().run == Run.objects.get(standing="accepted")


def test_a_run_accepted_by_two_editors_at_once_is_accepted_once(editor: User) -> None:
    run = ready(make_adapter())
    answers = at_once([lambda: accept_run(run, by=editor)] * 2)
    assert sum(isinstance(answer, Refused) for answer in answers) == 1
    assert RunEvent.objects.filter(run=run, what="accepted").count() == 1


def test_four_workers_at_once_compute_a_run_once() -> None:
    run = receive(make_adapter())
    states = at_once([lambda: processing.compute(run.pk)] * 4)
    assert set(states) <= {"ready", "computing"}
    run.refresh_from_db()
    assert (run.state, run.fence) == ("ready", 1)
    assert RunEvent.objects.filter(run=run, what="computed").count() == 1


def test_a_draft_published_by_two_editors_at_once_is_frozen_once(editor: User) -> None:
    adapter = make_adapter()
    accepted(adapter, by=editor)
    draft = save_comparison(
        Comparison(title="One table"),
        adapters=[adapter],
        metrics=["no-load-power"],
        conditions={},
        by=editor,
    )
    answers = at_once([lambda: publish_comparison(draft, by=editor)] * 2)
    assert sum(isinstance(answer, TableRefused) for answer in answers) == 1
    hashes = {answer.frozen_hash for answer in answers if isinstance(answer, Comparison)}
    assert hashes == {Comparison.objects.get().frozen_hash}
