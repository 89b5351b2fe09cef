"""Faults of the API that a stranger can provoke; each test states how it ought to be."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any
from unittest.mock import patch

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.utils import timezone
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from brickledger.models import ApiToken
from brickledger.roles import give_role
from catalog.models import Adapter
from catalog.rest.parsers import StrictJSONParser, WholeMultiPartParser
from measurements.intake.pictures import check_attached
from measurements.models import Run
from tests.factories.api import ADAPTER, client_of
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, ready
from tests.factories.pictures import picture
from tests.factories.rankings import standing_value

ADAPTERS = "/api/v1/adapters/"


def client_with(user: User, role: str) -> APIClient:
    client = APIClient()
    token = ApiToken.issue(name="test", user=user, role=role)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


@pytest.mark.django_db
@pytest.mark.parametrize("header", ["Bearer wrong", "Bearer", "Bearer a b"])
def test_a_wrong_token_at_an_address_without_its_slash_is_no_fault_of_the_server(
    header: str,
) -> None:
    # RFC 9110, 15.6.1: 500 is for what the server did not expect; a wrong key is a client's.
    client = APIClient(raise_request_exception=False)
    answer = client.get("/api/v1/adapters", headers={"Authorization": header})
    assert answer.status_code in (301, 401)


def _accepted_under_a_key(editor: User) -> tuple[Run, str]:
    run = ready(make_adapter())
    address = f"/api/v1/runs/{run.pk}/accept/"
    first = client_of(editor).post(
        address, {}, format="json", headers={"Idempotency-Key": "accept-1"}
    )
    assert first.status_code == 200
    return run, address


@pytest.mark.django_db
def test_an_answer_kept_for_a_repeat_tells_a_readers_token_nothing_under_embargo(
    editor: User,
) -> None:
    run, address = _accepted_under_a_key(editor)
    Adapter.objects.update(publish_on=timezone.now().date() + timedelta(days=30))
    reader = client_with(editor, "reader")
    assert reader.get(f"/api/v1/runs/{run.pk}/").status_code == 404

    again = reader.post(address, {}, format="json", headers={"Idempotency-Key": "accept-1"})

    assert again.status_code in (403, 404)


@pytest.mark.django_db
def test_an_answer_kept_for_a_repeat_is_gone_with_the_right_to_the_write(editor: User) -> None:
    _, address = _accepted_under_a_key(editor)
    give_role(editor, "reader")
    client = client_of(editor)
    assert client.post(address, {}, format="json").status_code == 403

    again = client.post(address, {}, format="json", headers={"Idempotency-Key": "accept-1"})

    assert again.status_code == 403


@pytest.mark.django_db
def test_a_change_of_another_version_is_another_request_under_the_key(reviewer: User) -> None:
    client = client_of(reviewer)
    made = client.post(ADAPTERS, ADAPTER, format="json")
    headers = {"If-Match": made["ETag"], "Idempotency-Key": "mass"}
    client.patch(made["Location"], {"mass_g": 80}, format="json", headers=headers)
    Adapter.objects.update(mass_g=99.0)

    headers["If-Match"] = client.get(made["Location"])["ETag"]
    again = client.patch(made["Location"], {"mass_g": 80}, format="json", headers=headers)

    # The draft on Idempotency-Key: one key, one request; a condition is part of what is asked.
    assert (
        again.status_code == 422
        or again.json()["mass_g"] == client.get(made["Location"]).json()["mass_g"]
    )


@pytest.fixture
def read_where(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """For each body that is parsed, whether the database was held meanwhile."""
    seen: list[bool] = []
    for parser in (StrictJSONParser, WholeMultiPartParser):

        def parse(self: Any, *args: Any, _real: Any = parser.parse, **kwargs: Any) -> Any:
            seen.append(connection.in_atomic_block)
            return _real(self, *args, **kwargs)

        monkeypatch.setattr(parser, "parse", parse)
    return seen


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
@pytest.mark.parametrize("call", ["accept", "adapter", "table", "attachment"])
def test_a_body_is_read_before_the_database_is_held(
    call: str, person: Callable[[str], User], read_where: list[bool]
) -> None:
    # On SQLite the transaction holds the only write lock: who sends slowly would stop the site.
    editor = person("editor")
    run = accepted(make_adapter(), by=editor)
    client = client_of(person("reader") if call == "accept" else editor)
    if call == "accept":
        client.post(f"/api/v1/runs/{run.pk}/accept/", {}, format="json")
    elif call == "adapter":
        client.post(ADAPTERS, ADAPTER, format="json")
    elif call == "table":
        table = SimpleUploadedFile("t.csv", b"adapter,metric,value\n")
        client.post("/api/v1/tables/", {"origin": "x", "file": table}, format="multipart")
    else:
        shot = SimpleUploadedFile("p.png", picture())
        said = {"kind": "photograph", "title": "Front", "file": shot}
        client.post(f"/api/v1/runs/{run.pk}/attachments/", said, format="multipart")

    assert not any(read_where)


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_a_picture_is_decoded_before_the_database_is_held(person: Callable[[str], User]) -> None:
    editor = person("editor")
    run = accepted(make_adapter(), by=editor)
    held: list[bool] = []

    def check(content: bytes) -> Any:
        held.append(connection.in_atomic_block)
        return check_attached(content)

    shot = SimpleUploadedFile("p.png", picture())
    said = {"kind": "photograph", "title": "Front", "file": shot}
    with patch("measurements.attaching.check_attached", check):
        answer = client_of(editor).post(
            f"/api/v1/runs/{run.pk}/attachments/", said, format="multipart"
        )
    assert answer.status_code == 201
    assert held == [False]


@pytest.mark.django_db
@pytest.mark.parametrize("address", [ADAPTERS, "/api/v1/values/", "/api/v1/runs/"])
def test_what_comes_out_of_embargo_is_new_to_whoever_stays_up_to_date(
    address: str, editor: User
) -> None:
    run = accepted(make_adapter(publish_on=timezone.now().date() + timedelta(days=1)), by=editor)
    standing_value(run.adapter, 0.04, apart="a soak in a hot room")
    last_visit = timezone.now() + timedelta(minutes=1)
    assert APIClient().get(address).json()["results"] == []

    tomorrow = datetime.now(UTC) + timedelta(days=1)
    with patch("django.utils.timezone.now", return_value=tomorrow):
        everything = APIClient().get(address).json()["results"]
        news = APIClient().get(address, {"updated_since": last_visit.isoformat()}).json()

    assert everything != []
    assert news["results"] == everything


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("method", "address"),
    [("get", "/api/v1/nothing/"), ("get", "/api/v1/adapters"), ("delete", "/api/v1/runs/")],
)
def test_calls_that_are_refused_early_count_like_any_other(
    method: str, address: str, settings: Settings, tmp_path: Any
) -> None:
    settings.RATE_ADDRESS, settings.DATA_DIR = 3, tmp_path
    client = APIClient()
    answers = [getattr(client, method)(address).status_code for _ in range(8)]
    assert 429 in answers


@pytest.mark.django_db
def test_a_token_is_counted_for_itself_wherever_it_is_sent(
    reviewer: User, settings: Settings, tmp_path: Any
) -> None:
    # The page of documents: "Requests are counted by token, or by network address without one."
    settings.RATE_ADDRESS, settings.RATE_TOKEN, settings.DATA_DIR = 3, 1000, tmp_path
    client = client_of(reviewer)
    answers = [
        client.post("/api/v1/decode/", {"words": ["0x0001912C"]}, format="json").status_code
        for _ in range(8)
    ]
    assert set(answers) == {200}
