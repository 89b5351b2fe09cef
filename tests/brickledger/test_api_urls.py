"""Who may call what, and the list of calls."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from rest_framework.test import APIClient

from brickledger.roles import EDITOR, give_role
from catalog.models import Adapter
from comparisons.actions import save_comparison
from comparisons.models import Comparison
from measurements.models import Run
from tests.factories.api import ADAPTER, INSTRUMENT, assert_problem, client_of, upload
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, ready
from tests.factories.pictures import picture
from tests.factories.result_tables import received_table, standby_table

pytestmark = pytest.mark.django_db

ROLES = ("nobody", "reader", "reviewer", "editor")

# Of each call that writes: what it answers to each role, in the order of ROLES.
WRITES: dict[str, tuple[int, int, int, int]] = {
    "POST adapters/": (401, 403, 201, 201),
    "PATCH adapters/{slug}/": (401, 403, 200, 200),
    "POST devices/": (401, 403, 201, 201),
    "POST instruments/": (401, 403, 201, 201),
    "POST runs/": (401, 403, 202, 202),
    # A run that is hidden from a reader does not exist for one.
    "POST runs/{run_id}/accept/": (401, 404, 403, 200),
    "POST runs/{run_id}/withdraw/": (401, 404, 403, 200),
    "POST runs/{run_id}/amend/": (401, 404, 403, 200),
    "POST runs/{run_id}/attachments/": (401, 404, 403, 201),
    "POST adapters/{slug}/attachments/": (401, 403, 201, 201),
    "POST tables/": (401, 403, 201, 201),
    "POST tables/{table_id}/accept/": (401, 404, 403, 200),
    "POST tables/{table_id}/withdraw/": (401, 404, 403, 200),
    "POST comparisons/": (401, 403, 403, 201),
    "PATCH comparisons/{slug}/": (401, 403, 403, 200),
    "POST comparisons/{slug}/publish/": (401, 403, 403, 200),
    "POST comparisons/{slug}/revise/": (401, 403, 403, 409),
}
# Calls that write nothing and ask nobody who they are.
OPEN = ("POST decode/",)
# Of each call that reads: what it answers to each role about something hidden.
HIDDEN: dict[str, tuple[int, int, int, int]] = {
    "adapters/{slug}/": (404, 404, 200, 200),
    "adapters/{slug}/ports/": (404, 404, 200, 200),
    "adapters/{slug}/placements/": (404, 404, 200, 200),
    "adapters/{slug}/attachments/": (404, 404, 200, 200),
    "runs/{run_id}/": (404, 404, 200, 200),
    "runs/{run_id}/raw/": (404, 404, 200, 200),
    "runs/{run_id}/trace/": (404, 404, 200, 200),
    "runs/{run_id}/attachments/": (404, 404, 200, 200),
    "tables/{table_id}/": (404, 404, 200, 200),
    "comparisons/{slug}/": (404, 404, 404, 200),
}
LISTS = (
    "",
    "adapters/",
    "bulk/",
    "comparisons/",
    "devices/",
    "instruments/",
    "limits/",
    "metrics/",
    "rankings/{metric}/",
    "runs/",
    "schema/",
    "tables/",
    "values/",
)
STREAMS = ("bulk/history/", "bulk/placements/", "bulk/traces/", "bulk/values/")


def client(role: str, person: Callable[[str], User]) -> APIClient:
    return client_of(None if role == "nobody" else person(role))


def _results_of(run: Run) -> UUID:
    """A provisional table of results that somebody else handed in."""
    other, _ = User.objects.get_or_create(username="other")
    give_role(other, EDITOR)
    person = User.objects.get(pk=other.pk)
    return received_table(standby_table((run.adapter.slug, 0.05, None)), by=person).pk


def send(caller: APIClient, call: str, *, run: Run, table: Comparison) -> Any:
    method, address = call.split(" ")
    if call == "POST runs/":
        return upload(caller, unit="2")
    if call == "POST tables/":
        results = SimpleUploadedFile("results.csv", standby_table((run.adapter.slug, 0.1, None)))
        said = {"file": results, "origin": "Bench of 2019"}
        return caller.post("/api/v1/tables/", said, format="multipart")
    if address.endswith("/attachments/"):
        file = SimpleUploadedFile("body.png", picture())
        said = {"kind": "photograph", "title": "Body", "file": file}
        named = address.format(slug=run.adapter.slug, run_id=run.pk)
        return caller.post(f"/api/v1/{named}", said, format="multipart")
    slug = table.slug if "comparisons" in address else run.adapter.slug
    bodies: dict[str, dict[str, Any]] = {
        "POST adapters/": ADAPTER,
        "PATCH adapters/{slug}/": {"mass_g": 90},
        "POST devices/": {"name": "Otterling phone"},
        "POST instruments/": INSTRUMENT,
        "POST runs/{run_id}/withdraw/": {"reason": "The meter was faulty."},
        "POST tables/{table_id}/withdraw/": {"reason": "Its origin is in doubt."},
        "POST runs/{run_id}/amend/": {
            "reason": "It was the other supply.",
            "changes": {"mains_v": 115.0},
        },
        "POST comparisons/": {
            "title": "Another",
            "adapters": [run.adapter.slug],
            "metrics": ["no-load-power"],
        },
        "PATCH comparisons/{slug}/": {"title": "Changed"},
    }
    return caller.generic(
        method,
        "/api/v1/" + address.format(slug=slug, run_id=run.pk, table_id=_results_of(run)),
        json.dumps(bodies.get(call, {})),
        "application/json",
        headers={"If-Match": "*"},
    )


@pytest.fixture
def run() -> Run:
    return ready(make_adapter())


@pytest.fixture
def table(run: Run, editor: User) -> Comparison:
    return save_comparison(
        Comparison(title="Standby"),
        adapters=[run.adapter],
        metrics=["no-load-power"],
        conditions={},
        by=editor,
    )


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("call", WRITES)
def test_each_role_may_write_what_it_should_and_no_more(
    call: str, role: str, run: Run, table: Comparison, person: Callable[[str], User]
) -> None:
    expected = WRITES[call][ROLES.index(role)]
    answer = send(client(role, person), call, run=run, table=table)
    assert answer.status_code == expected, answer.content
    if expected >= 400:
        assert_problem(answer, expected)
        run.refresh_from_db()
        table.refresh_from_db()
        assert (run.standing, table.state, table.title) == ("provisional", "draft", "Standby")
        assert (Adapter.objects.count(), Run.objects.count()) == (1, 1)


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("address", HIDDEN)
def test_what_is_hidden_does_not_exist_for_those_who_may_not_see_it(
    address: str, role: str, run: Run, table: Comparison, person: Callable[[str], User]
) -> None:
    tomorrow = timezone.now().date() + timedelta(days=1)
    Adapter.objects.update(publish_on=tomorrow)
    slug = table.slug if "comparisons" in address else run.adapter.slug
    named = address.format(slug=slug, run_id=run.pk, table_id=_results_of(run))
    answer = client(role, person).get(f"/api/v1/{named}")
    assert answer.status_code == HIDDEN[address][ROLES.index(role)]
    answer.close()


@pytest.mark.parametrize("role", ROLES)
def test_an_accepted_run_of_an_embargoed_adapter_is_hidden_everywhere(
    role: str, person: Callable[[str], User], editor: User
) -> None:
    adapter = make_adapter(publish_on=timezone.now().date() + timedelta(days=1), mass_g=90.0)
    run = accepted(adapter, by=editor)
    caller = client(role, person)
    sees = role in ("reviewer", "editor")
    for address in ("adapters/", "runs/", "values/", "rankings/no-load-power/"):
        assert (adapter.slug in caller.get(f"/api/v1/{address}").content.decode()) is sees
    count = caller.get("/api/v1/rankings/no-load-power/").json()["cohort"]["count"]
    assert count == int(sees)
    assert caller.get(f"/api/v1/runs/{run.pk}/").status_code == (200 if sees else 404)


@pytest.mark.parametrize("address", LISTS)
def test_reading_what_is_published_needs_no_account(address: str) -> None:
    query = "?rated_power_w=65" if address == "limits/" else ""
    answer = APIClient().get(f"/api/v1/{address.format(metric='no-load-power')}{query}")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/json"
    if address not in ("", "schema/"):
        assert {"results", "next"} <= answer.json().keys()


def test_the_index_lists_every_call_with_a_sentence() -> None:
    calls = APIClient().get("/api/v1/").json()["calls"]
    listed = {f"{call['method']} {call['address'].removeprefix('/api/v1/')}" for call in calls}
    reads = {f"GET {address}" for address in (*HIDDEN, *LISTS, *STREAMS)}
    assert listed == reads | set(WRITES) | set(OPEN)
    for call in calls:
        assert re.fullmatch(r"[A-Z].*\.", call["does"])
    values = next(call for call in calls if call["address"] == "/api/v1/values/")
    assert {"metric", "line", "output_v", "device", "adapter"} <= set(values["parameters"])


def test_a_head_request_is_answered_like_a_get_without_its_body() -> None:
    answer = APIClient().head("/api/v1/metrics/")
    assert (answer.status_code, answer.content) == (200, b"")
