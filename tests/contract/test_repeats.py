"""A write is done once under one key, and recorded in the transaction that does it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from rest_framework.test import APIClient

from catalog.models import KEPT_FOR, Adapter, Write
from measurements.models import Run
from tests.factories.api import ADAPTER, assert_problem, client_of, faulty_fields, upload
from tests.factories.catalog import make_adapter
from tests.factories.measurements import no_load_log

pytestmark = pytest.mark.django_db
ADAPTERS = "/api/v1/adapters/"


@pytest.fixture
def bench(reviewer: User) -> APIClient:
    """A program of a reviewer."""
    return client_of(reviewer)


def write_down(client: APIClient, key: str | None, **more: Any) -> Any:
    headers = {} if key is None else {"Idempotency-Key": key}
    return client.post(ADAPTERS, {**ADAPTER, **more}, format="json", headers=headers)


def test_a_repeat_under_its_key_gets_the_first_answer_and_changes_nothing(bench: APIClient) -> None:
    first, second = (write_down(bench, "once") for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 201)
    assert second.json() == first.json()
    assert second["Location"] == first["Location"]
    assert second["ETag"] == first["ETag"]
    assert (Adapter.objects.count(), Write.objects.count()) == (1, 1)


def test_a_repeat_gets_the_first_answer_whatever_happened_since(bench: APIClient) -> None:
    first = write_down(bench, "once")
    Adapter.objects.update(mass_g=99.0)
    assert write_down(bench, "once").json() == first.json()


def test_another_request_under_a_used_key_is_refused(bench: APIClient) -> None:
    write_down(bench, "once")
    assert_problem(write_down(bench, "once", name="Other"), 422, name="key-used")
    other_address = bench.post(
        "/api/v1/devices/", {"name": "T"}, format="json", headers={"Idempotency-Key": "once"}
    )
    assert_problem(other_address, 422, name="key-used")
    assert Adapter.objects.count() == 1


def test_a_refusal_is_not_kept_so_that_the_key_may_be_tried_again(bench: APIClient) -> None:
    assert_problem(write_down(bench, "once", rated_power_w=-1), 400)
    assert Write.objects.count() == 0
    assert write_down(bench, "once").status_code == 201


def test_two_people_may_use_the_same_key(bench: APIClient, editor: User) -> None:
    assert write_down(bench, "once").status_code == 201
    assert write_down(client_of(editor), "once", name="Duo 45").status_code == 201


def test_a_key_is_free_again_after_seven_days(bench: APIClient) -> None:
    write_down(bench, "once")
    Write.objects.update(at=timezone.now() - KEPT_FOR - timedelta(seconds=1))
    assert write_down(bench, "once", name="Duo 45").status_code == 201
    assert Write.objects.filter(key="").count() == 1
    assert Write.objects.count() == 2


@pytest.mark.parametrize("key", ["", " ", "a b", "é", "x" * 201, "a\tb"])
def test_a_key_is_visible_ascii(bench: APIClient, key: str) -> None:
    assert faulty_fields(write_down(bench, key)) == {"Idempotency-Key"}


def test_an_upload_under_a_key_is_told_by_the_content_of_its_file(bench: APIClient) -> None:
    make_adapter()
    key = {"Idempotency-Key": "log-7"}
    first = upload(bench, headers=key)
    second = upload(bench, headers=key)
    assert (first.status_code, second.status_code) == (202, 202)
    assert first.json() == second.json()
    assert first["Location"] == second["Location"]
    other = SimpleUploadedFile("log.csv", no_load_log(0.06))
    assert_problem(upload(bench, headers=key, file=other), 422, name="key-used")
    assert Run.objects.count() == 1


def test_a_change_may_be_repeated_though_its_version_is_gone(bench: APIClient) -> None:
    address = write_down(bench, None)["Location"]
    headers = {"If-Match": bench.get(address)["ETag"], "Idempotency-Key": "mass"}
    answers = [
        bench.patch(address, {"mass_g": 80}, format="json", headers=headers) for _ in range(2)
    ]
    assert [answer.status_code for answer in answers] == [200, 200]
    assert answers[0]["ETag"] == answers[1]["ETag"]


def test_every_write_leaves_a_row_that_says_who_what_and_by_which_token(
    bench: APIClient, reviewer: User
) -> None:
    made = write_down(bench, None)
    bench.patch(made["Location"], {"mass_g": 80}, format="json", headers={"If-Match": made["ETag"]})
    first, second = Write.objects.order_by("pk")
    assert (first.user, first.door, first.method, first.path) == (reviewer, "api", "POST", ADAPTERS)
    assert (first.status, first.subject) == (201, made["Location"])
    assert first.token.startswith("test (")
    assert first.address == "127.0.0.1"
    assert (second.method, second.subject) == ("PATCH", made["Location"])
    assert (first.key, first.answer) == ("", None)


@pytest.mark.parametrize("address", ["/api/v1/decode/", ADAPTERS])
def test_what_changes_nothing_leaves_no_row(bench: APIClient, address: str) -> None:
    bench.post(address, {"words": ["0x0001912C"]}, format="json")
    bench.get(ADAPTERS)
    assert Write.objects.count() == 0


def test_there_is_no_change_without_its_row(
    bench: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise RuntimeError

    monkeypatch.setattr(Write, "save", fail)
    assert write_down(bench, None).status_code == 500
    assert Adapter.objects.count() == 0


def test_what_unknown_callers_read_may_be_kept_and_what_tokens_read_may_not(
    bench: APIClient, person: Callable[[str], User]
) -> None:
    slug = make_adapter().slug
    for address in (ADAPTERS, f"{ADAPTERS}{slug}/", "/api/v1/metrics/", "/api/v1/values/"):
        anyone = APIClient().get(address)
        assert anyone["Cache-Control"].startswith("public, max-age=60")
        assert {"Authorization", "Cookie"} <= set(anyone["Vary"].split(", "))
        assert bench.get(address)["Cache-Control"] == "private, no-cache"
        signed_in = APIClient()
        signed_in.force_login(person("reader"))
        assert signed_in.get(address)["Cache-Control"] == "private, no-cache"
        same = APIClient().get(address, headers={"If-None-Match": anyone["ETag"]})
        assert (same.status_code, same.content) == (304, b"")
        assert same["Cache-Control"] == anyone["Cache-Control"]
    assert APIClient().get(f"{ADAPTERS}nothing/")["Cache-Control"] == "no-store"
    assert write_down(bench, None)["Cache-Control"] == "no-store"
