"""Amendments at the same instant as other deeds, on a database that lets both run."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.db import connection

from measurements import processing
from measurements.actions import Received, Refused, RunFacts, accept_run, amend_run, receive_run
from measurements.models import Amendment, Run, Value
from tests.factories.catalog import make_adapter
from tests.factories.measurements import no_load_log, ready, receive
from tests.measurements.test_amendments import facts_of
from tests.measurements.test_races import at_once

pytestmark = [
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
    pytest.mark.skipif(connection.vendor == "sqlite", reason="needs PostgreSQL (DATABASE_URL)"),
]


def amended(run: Run, *, by: User, **changes: object) -> Run:
    return amend_run(run, facts_of(run, **changes), by=by, reason="It was said wrongly.", seen=0)


@pytest.mark.parametrize("round_", range(5))
def test_an_acceptance_and_an_amendment_at_once_leave_no_value_of_the_old_conditions(
    round_: int, editor: User
) -> None:
    run = ready(make_adapter())
    accepts, amends = at_once(
        [lambda: accept_run(run, by=editor), lambda: amended(run, by=editor, mains_v=115.0)]
    )
    assert isinstance(accepts, Run | Refused)
    assert isinstance(amends, Run)
    now = Run.objects.get()
    assert (now.standing, now.state, now.line) == ("provisional", "received", "low")
    assert not Value.objects.current().filter(run=run).exists()
    assert processing.compute(run.pk) == "ready"
    accept_run(now, by=editor)
    assert set(Value.objects.current().filter(run=run).values_list("line", flat=True)) == {"low"}


def test_of_two_amendments_at_once_the_second_is_told(editor: User) -> None:
    run = ready(make_adapter())
    answers = at_once(
        [
            lambda: amended(run, by=editor, mains_v=115.0),
            lambda: amended(run, by=editor, ambient_c=25.0),
        ]
    )
    assert sum(isinstance(answer, Refused) for answer in answers) == 1
    assert sum(isinstance(answer, Run) for answer in answers) == 1
    assert Amendment.objects.count() == 1


def test_two_runs_that_trade_adapters_at_once_do_not_wait_for_each_other(editor: User) -> None:
    one, two = make_adapter("One"), make_adapter("Two")
    first, second = ready(one), ready(two, no_load_log(0.06))
    answers = at_once(
        [
            lambda: amended(first, by=editor, adapter=two),
            lambda: amended(second, by=editor, adapter=one),
        ]
    )
    assert all(isinstance(answer, Run) for answer in answers), answers
    assert dict(Run.objects.values_list("pk", "adapter")) == {first.pk: two.pk, second.pk: one.pk}


@pytest.mark.parametrize("round_", range(5))
def test_a_worker_and_an_amendment_at_once_end_in_the_new_conditions(
    round_: int, editor: User
) -> None:
    other = make_adapter("Two")
    run = receive(make_adapter("One"), no_load_log(minutes=5))
    worker, amends = at_once(
        [
            lambda: processing.compute(run.pk),
            lambda: amended(run, by=editor, mains_v=115.0, adapter=other),
        ]
    )
    assert isinstance(worker, str), worker
    assert isinstance(amends, Run), amends
    assert processing.compute(run.pk) == "ready"
    values = Value.objects.filter(run=run)
    assert set(values.values_list("line", "adapter")) == {("low", other.pk)}
    assert Run.objects.get().error == ""


def test_an_amendment_and_an_upload_that_end_alike_make_one_run_of_them(editor: User) -> None:
    adapter = make_adapter()
    run = ready(adapter)
    facts = RunFacts(adapter=adapter, kind="no-load", mains_v=115.0)

    def send() -> Received:
        return receive_run(facts, chunks=[no_load_log()], file_name="log.csv", by=None)

    amends, sent = at_once([lambda: amended(run, by=editor, mains_v=115.0), send])
    assert isinstance(sent, Received), sent
    if isinstance(amends, Refused):
        assert Run.objects.count() == 2
        assert sent.created
    else:
        assert Run.objects.get() == run == sent.run
