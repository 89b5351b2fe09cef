"""Runs over HTTP: reading, accepting, withdrawing, lists."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from catalog.models import Adapter
from measurements.actions import accept_run, withdraw_run
from measurements.models import Run
from tests.factories.api import assert_problem, client_of, faulty_fields, walk
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, efficiency_log, no_load_log, ready, receive

pytestmark = pytest.mark.django_db

LIST = "/api/v1/runs/"


@pytest.fixture
def adapter() -> Adapter:
    return make_adapter()


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


@pytest.fixture
def writer(adapter: Adapter, reviewer: User) -> APIClient:
    return client_of(reviewer)


def one(run: Run, part: str = "") -> str:
    return f"{LIST}{run.pk}/{part}"


def test_the_original_bytes_are_sent_as_a_file_that_no_browser_runs(
    anyone: APIClient, adapter: Adapter, editor: User
) -> None:
    content = b"\xef\xbb\xbf" + no_load_log()
    run = accepted(adapter, content, by=editor, file_name="log.svg")
    answer = anyone.get(one(run, "raw/"))
    assert b"".join(answer) == content
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer["ETag"] == f'"{hashlib.sha256(content).hexdigest()}"'
    again = anyone.get(one(run, "raw/"), headers={"If-None-Match": answer["ETag"]})
    assert again.status_code == 304


def test_a_trace_is_thinned_to_the_points_asked_for(
    anyone: APIClient, adapter: Adapter, editor: User
) -> None:
    run = accepted(adapter, by=editor)
    whole = anyone.get(one(run, "trace/")).json()
    assert whole["x"] in whole["columns"]
    assert len(whole["columns"][whole["x"]]) == 901
    few = anyone.get(one(run, "trace/?points=10")).json()
    lengths = {len(column) for column in few["columns"].values()}
    assert lengths
    assert max(lengths) <= 10
    assert min(lengths) >= 2


@pytest.mark.parametrize("points", ["1", "0", "-5", "2001", "1e3", "x"])
def test_points_that_are_no_sensible_number_are_refused(
    anyone: APIClient, adapter: Adapter, editor: User, points: str
) -> None:
    run = accepted(adapter, by=editor)
    assert faulty_fields(anyone.get(one(run, f"trace/?points={points}"))) == {"points"}


def test_a_run_without_a_trace_says_so(writer: APIClient, adapter: Adapter) -> None:
    run = receive(adapter)
    assert_problem(writer.get(one(run, "trace/")), 409)


def test_acceptance_opens_a_run_to_readers(
    anyone: APIClient, adapter: Adapter, editor: User
) -> None:
    run = ready(adapter)
    judge = client_of(editor)
    for part in ("", "raw/", "trace/"):
        assert_problem(anyone.get(one(run, part)), 404)
        seen = judge.get(one(run, part))
        assert seen.status_code == 200
        seen.getvalue()  # read to the end, as a client does, and closed with it
    answer = judge.post(one(run, "accept/"))
    assert answer.status_code == 200
    assert answer.json()["standing"] == "accepted"
    for part in ("", "raw/", "trace/"):
        seen = anyone.get(one(run, part))
        assert seen.status_code == 200
        seen.getvalue()  # read to the end, as a client does, and closed with it
    assert_problem(judge.post(one(run, "accept/")), 409, name="conflict")


def test_a_run_that_is_not_ready_is_not_accepted(adapter: Adapter, editor: User) -> None:
    run = receive(adapter)
    assert_problem(client_of(editor).post(one(run, "accept/")), 409, name="conflict")


def test_a_withdrawn_run_shows_its_reason_and_leaves_the_values(
    anyone: APIClient, adapter: Adapter, editor: User
) -> None:
    run = accepted(adapter, by=editor)
    judge = client_of(editor)
    said = {"reason": "The meter was out of calibration."}
    answer = judge.post(one(run, "withdraw/"), said, format="json")
    assert answer.status_code == 200
    shown = anyone.get(one(run)).json()
    assert (shown["standing"], shown["withdrawn_reason"]) == ("withdrawn", said["reason"])
    assert shown["metrics"]
    assert anyone.get("/api/v1/values/?metric=no-load-power").json()["results"] == []
    assert_problem(judge.post(one(run, "withdraw/"), said, format="json"), 409)


def standby(client: APIClient, run: Run) -> tuple[float, bool]:
    """The standby power that the run lists, and whether it stands today."""
    (found,) = (
        item for item in client.get(one(run)).json()["metrics"] if item["metric"] == "no-load-power"
    )
    return round(found["value"], 6), found["current"]


def test_a_value_is_current_from_acceptance_until_another_run_replaces_it(
    anyone: APIClient, adapter: Adapter, editor: User
) -> None:
    judge = client_of(editor)
    first = ready(adapter, no_load_log(0.05))
    assert standby(judge, first) == (0.05, False)
    accept_run(first, by=editor)
    assert standby(anyone, first) == (0.05, True)
    second = accepted(adapter, no_load_log(0.06), by=editor)
    assert standby(anyone, first) == (0.05, False)
    assert standby(anyone, second) == (0.06, True)
    withdraw_run(second, reason="Meter was off.", by=editor)
    assert standby(anyone, first) == (0.05, True)
    assert standby(anyone, second) == (0.06, False)


def test_an_accepted_run_keeps_the_values_that_another_run_replaced(
    anyone: APIClient, adapter: Adapter, editor: User
) -> None:
    both = accepted(adapter, efficiency_log(9.0, 20.0), kind="efficiency", by=editor)
    before = anyone.get(one(both)).json()["metrics"]
    accepted(adapter, efficiency_log(20.0, loss=1.02), kind="efficiency", by=editor)
    shown = anyone.get(one(both)).json()
    assert shown["standing"] == "accepted"
    assert [(item["metric"], item["value"]) for item in shown["metrics"]] == [
        (item["metric"], item["value"]) for item in before
    ]
    average = {
        item["condition"]["output_v"]: item["current"]
        for item in shown["metrics"]
        if item["metric"] == "average-efficiency"
    }
    assert average == {9.0: True, 20.0: False}


def test_a_value_that_the_method_of_today_no_longer_gives_is_not_listed(
    anyone: APIClient, adapter: Adapter, editor: User
) -> None:
    run = accepted(adapter, by=editor)
    row = run.values.get(metric="no-load-energy")
    row.pk, row.metric, row.current_until = None, "no-load-power", timezone.now()
    row.condition_key = "line=high;port=C1"
    row.save()
    assert len(anyone.get(one(run)).json()["metrics"]) == 2


@pytest.mark.parametrize(
    "body", [{}, {"reason": ""}, {"reason": "  "}, {"reason": 5}, {"reason": "x" * 501}]
)
def test_a_withdrawal_needs_a_reason(adapter: Adapter, editor: User, body: Any) -> None:
    run = accepted(adapter, by=editor)
    answer = client_of(editor).post(one(run, "withdraw/"), body, format="json")
    assert faulty_fields(answer) == {"reason"}
    assert Run.objects.get().standing == "accepted"


def test_acceptance_takes_no_fields(adapter: Adapter, editor: User) -> None:
    run = ready(adapter)
    answer = client_of(editor).post(one(run, "accept/"), {"standing": "x"}, format="json")
    assert faulty_fields(answer) == {"standing"}


def test_reviewers_judge_own_runs_only_where_the_site_allows_it(
    adapter: Adapter, reviewer: User, person: Callable[[str], User], settings: Settings
) -> None:
    own, other = ready(adapter, by=reviewer), ready(adapter, by=person("reviewer"), unit="2")
    client = client_of(reviewer)
    assert_problem(client.post(one(own, "accept/")), 403, name="forbidden")
    settings.REVIEWERS_ACCEPT_OWN_RUNS = True
    assert client.post(one(own, "accept/")).status_code == 200
    assert_problem(client.post(one(other, "accept/")), 403, name="forbidden")


def test_a_reader_may_not_judge_and_learns_nothing_of_hidden_runs(
    adapter: Adapter, person: Callable[[str], User], editor: User
) -> None:
    reader = client_of(person("reader"))
    hidden, shown = ready(adapter, unit="2"), accepted(adapter, by=editor)
    assert_problem(reader.post(one(hidden, "accept/")), 404)
    said = {"reason": "because"}
    assert_problem(reader.post(one(hidden, "withdraw/"), said, format="json"), 404)
    assert_problem(reader.post(one(shown, "withdraw/"), said, format="json"), 403)


def test_the_list_shows_readers_what_was_accepted_and_others_all(
    anyone: APIClient, writer: APIClient, adapter: Adapter, editor: User
) -> None:
    public = accepted(adapter, by=editor)
    provisional = receive(adapter, unit="2", mains_v=115.0)

    def ids(client: APIClient, query: str = "") -> list[str]:
        return [row["id"] for row in client.get(f"{LIST}{query}").json()["results"]]

    assert ids(anyone) == [str(public.pk)]
    assert ids(writer) == [str(provisional.pk), str(public.pk)]
    assert ids(writer, "?state=received") == [str(provisional.pk)]
    assert ids(writer, "?standing=accepted&kind=no-load") == [str(public.pk)]
    assert ids(writer, "?adapter=northfold-solo-65&kind=thermal") == []
    assert faulty_fields(writer.get(f"{LIST}?adapter=none-such")) == {"adapter"}
    assert faulty_fields(writer.get(f"{LIST}?state=done")) == {"state"}


def test_the_list_neither_loses_nor_repeats_a_run_while_others_arrive(
    writer: APIClient, adapter: Adapter
) -> None:
    before = [str(receive(adapter, unit=f"a{number}").pk) for number in range(10)]
    seen = []
    for count, row in enumerate(walk(writer, f"{LIST}?limit=3")):
        seen.append(row["id"])
        receive(adapter, unit=f"b{count}")
    assert seen == before[::-1]


def test_the_list_takes_the_same_queries_for_3_and_for_30_runs(
    anyone: APIClient,
    adapter: Adapter,
    editor: User,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    for number in range(30):
        run = receive(adapter, unit=f"a{number}")
        Run.objects.filter(pk=run.pk).update(standing="accepted", accepted_at=timezone.now())
        if number in (2, 29):
            with django_assert_num_queries(1):
                anyone.get(LIST)


def test_one_run_takes_a_fixed_number_of_queries(
    anyone: APIClient,
    adapter: Adapter,
    editor: User,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    run = accepted(adapter, by=editor)
    # The run; instruments, flags, verdicts, events; the values.
    with django_assert_num_queries(6):
        anyone.get(one(run))
