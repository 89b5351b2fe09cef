"""Every error under the API is a problem of RFC 9457, and every exception has one."""

from __future__ import annotations

import errno
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.core.exceptions import ValidationError as ModelValidationError
from django.db import DataError, IntegrityError, InterfaceError, OperationalError
from django.http import Http404, UnreadablePostError
from django.test import RequestFactory
from rest_framework import exceptions
from rest_framework.test import APIClient

from brickledger.problems import bad_request, problem_of, server_error
from comparisons.actions import Refused as TableRefused
from measurements.actions import Refused as RunRefused
from measurements.intake.rawstore import TooLarge
from tests.factories.api import assert_problem, client_of
from tests.factories.catalog import make_adapter

API = "/api/v1/"


@pytest.mark.parametrize(
    ("error", "status", "name"),
    [
        (exceptions.ValidationError({"a": ["x"]}), 400, "validation"),
        (ModelValidationError({"a": ["x"]}), 400, "validation"),
        (ModelValidationError("x"), 400, "validation"),
        (exceptions.ParseError(), 400, "malformed"),
        (SuspiciousOperation(), 400, "malformed"),
        (UnreadablePostError("cut"), 400, "malformed"),
        (DataError(), 400, "validation"),
        (exceptions.NotAuthenticated(), 401, "unauthenticated"),
        (exceptions.AuthenticationFailed(), 401, "unauthenticated"),
        (exceptions.PermissionDenied(), 403, "forbidden"),
        (PermissionDenied(), 403, "forbidden"),
        (PermissionError("Only an editor may do that."), 403, "forbidden"),
        (Http404(), 404, "not-found"),
        (exceptions.NotFound(), 404, "not-found"),
        (exceptions.MethodNotAllowed("PUT"), 405, "method"),
        (RunRefused("No."), 409, "conflict"),
        (TableRefused("No.", field="adapters"), 409, "conflict"),
        (IntegrityError(), 409, "conflict"),
        (TooLarge(1000), 413, "too-large"),
        (RequestDataTooBig(), 413, "too-large"),
        (exceptions.UnsupportedMediaType("text/plain"), 415, "media-type"),
        (OSError(errno.ENOSPC, "full"), 507, "storage-full"),
        (OSError(errno.EDQUOT, "full"), 507, "storage-full"),
        (OperationalError("locked"), 503, "busy"),
        (InterfaceError("closed"), 503, "busy"),
        (PermissionError(errno.EACCES, "/srv/secret"), 500, "server-error"),
        (OSError(errno.EIO, "/srv/secret"), 500, "server-error"),
        (KeyError("secret"), 500, "server-error"),
        (RecursionError("secret"), 500, "server-error"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else str(value),
)
def test_an_exception_has_its_status_and_name(error: Exception, status: int, name: str) -> None:
    problem = problem_of(error)
    assert (problem.status, problem.name) == (status, name)
    content = problem.as_json()
    assert set(content) == {"type", "title", "status", "detail", "errors"}
    assert content["title"]
    assert content["detail"]
    assert "secret" not in str(content)


def test_a_refusal_that_names_a_field_keeps_it() -> None:
    errors = problem_of(TableRefused("No.", field="adapters")).as_json()["errors"]
    assert errors == [{"field": "adapters", "detail": "No."}]


def test_faults_in_lists_are_named_by_their_place() -> None:
    detail: Any = {"ports": [{}, {"label": ["too long"]}], "non_field_errors": ["odd"]}
    errors = problem_of(exceptions.ValidationError(detail)).as_json()["errors"]
    assert errors == [
        {"field": "ports.1.label", "detail": "too long"},
        {"field": "body", "detail": "odd"},
    ]


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["get", "post", "put", "patch", "delete", "options"])
@pytest.mark.parametrize(
    "address", ["nothing/", "runs/not-an-id/", "adapters/a%20b/", "%0A/", "adapters/a/b/c/", "é/"]
)
def test_an_unknown_address_is_a_problem_for_every_method(method: str, address: str) -> None:
    assert_problem(getattr(APIClient(), method)(API + address), 404, name="not-found")


@pytest.mark.django_db
def test_a_missing_slash_is_mended_for_readers_and_told_to_writers(reviewer: User) -> None:
    answer = APIClient().get("/api/v1/values?metric=no-load-power")
    assert answer.status_code == 301
    assert answer["Location"] == "/api/v1/values/?metric=no-load-power"
    problem = assert_problem(client_of(reviewer).post("/api/v1/adapters", {}, format="json"), 404)
    assert "/api/v1/adapters/" in problem["detail"]


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["put", "delete", "patch"])
def test_a_method_that_a_call_does_not_have_is_a_problem(method: str, editor: User) -> None:
    answer = getattr(client_of(editor), method)("/api/v1/values/")
    assert_problem(answer, 405, name="method")
    assert "GET" in answer["Allow"]
    assert "POST" not in answer["Allow"]


@pytest.mark.django_db
@pytest.mark.parametrize("accept", ["text/html", "application/xml", "*/*", "nonsense"])
def test_the_answer_is_json_whatever_is_asked_for(accept: str) -> None:
    answer = APIClient().get("/api/v1/metrics/", headers={"Accept": accept})
    assert answer["Content-Type"] == "application/json"
    assert_problem(APIClient().get("/api/v1/none/", headers={"Accept": accept}), 404)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "content_type", ["text/plain", "application/xml", "application/x-www-form-urlencoded", "x"]
)
def test_another_content_type_is_a_problem(content_type: str, reviewer: User) -> None:
    answer = client_of(reviewer).generic("POST", "/api/v1/adapters/", "x=1", content_type)
    assert_problem(answer, 415, name="media-type")


@pytest.mark.django_db
@pytest.mark.parametrize(
    "body",
    ["{", "[" * 10_000, '{"a":' * 10_000, '{"name": NaN}', '{"rated_power_w": 1e400}', "\x00"],
)
def test_a_body_that_is_no_json_is_a_problem(body: str, reviewer: User) -> None:
    client = client_of(reviewer)
    answer = client.generic("POST", "/api/v1/adapters/", body, "application/json")
    assert_problem(answer, 400, name="malformed")


@pytest.mark.django_db
def test_a_body_past_the_limit_is_a_problem(reviewer: User) -> None:
    body = '{"name": "' + "x" * (5 * 2**20) + '"}'
    answer = client_of(reviewer).generic("POST", "/api/v1/adapters/", body, "application/json")
    assert_problem(answer, 413, name="too-large")


@pytest.mark.django_db
def test_a_body_of_unstated_length_is_not_taken_for_an_empty_one(reviewer: User) -> None:
    answer = client_of(reviewer).post(
        "/api/v1/adapters/", headers={"Transfer-Encoding": "chunked"}, CONTENT_LENGTH=""
    )
    assert_problem(answer, 411, name="length-required")


@pytest.mark.django_db
def test_what_nobody_foresaw_is_logged_and_not_told(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a secret of the house")

    monkeypatch.setattr("catalog.api.keyset_page", broken)
    answer = APIClient().get("/api/v1/adapters/")
    assert_problem(answer, 500, name="server-error")
    assert "secret" not in answer.content.decode()
    assert "a secret of the house" in caplog.text


@pytest.mark.django_db
def test_a_database_that_is_away_is_told_as_busy(monkeypatch: pytest.MonkeyPatch) -> None:
    def away(*_: object, **__: object) -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr("catalog.api.keyset_page", away)
    answer = APIClient().get("/api/v1/adapters/")
    assert_problem(answer, 503, name="busy")
    assert int(answer["Retry-After"]) > 0


@pytest.mark.django_db
def test_two_writers_of_the_same_thing_are_told_to_read_again(
    monkeypatch: pytest.MonkeyPatch, reviewer: User
) -> None:
    def collide(*_: object, **__: object) -> None:
        raise IntegrityError("UNIQUE constraint failed")

    monkeypatch.setattr("catalog.api.save_adapter", collide)
    body: dict[str, Any] = {"maker": "Northfold", "name": "Solo", "rated_power_w": 5, "ports": []}
    answer = client_of(reviewer).post("/api/v1/adapters/", body, format="json")
    assert_problem(answer, 409, name="conflict")


@pytest.mark.django_db
@pytest.mark.parametrize("handler", [lambda r: bad_request(r, Exception()), server_error])
def test_errors_before_any_view_are_problems_under_the_api_alone(
    handler: Callable[[Any], Any],
) -> None:
    answer = handler(RequestFactory().get("/api/v1/adapters/"))
    assert answer["Content-Type"] == "application/problem+json"
    answer = handler(RequestFactory().get("/adapters/"))
    assert answer["Content-Type"].startswith("text/html")


@pytest.mark.django_db
def test_hostile_query_strings_are_problems() -> None:
    make_adapter()
    for query in (
        "limit=-1",
        "limit=1e9",
        "after=%00",
        "after=" + "A" * 5000,
        "maker__name=x",
        "__class=x",
        "q=%00",
        "q=" + "x" * 1000,
        "%ff=%ff",
        "a[]=1",
        "order_by=id",
        "&".join(f"p{number}=1" for number in range(2000)),
    ):
        assert_problem(APIClient().get(f"/api/v1/adapters/?{query}"), 400)
