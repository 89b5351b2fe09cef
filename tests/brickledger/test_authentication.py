"""Tokens: who is let in, and what a client without one is told."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from rest_framework.test import APIClient

from brickledger.models import ApiToken, digest_of
from tests.factories.api import INSTRUMENT, assert_problem, client_of

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/instruments/"


def post(client: APIClient) -> int:
    return client.post(ADDRESS, INSTRUMENT, format="json").status_code


def client_sending(header: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=header)
    return client


def test_a_token_opens_what_its_person_may_do(reviewer: User) -> None:
    assert post(client_of(reviewer)) == 201


def test_only_the_tokens_hash_is_kept(reviewer: User) -> None:
    token = ApiToken.issue(name="test", user=reviewer)
    row = ApiToken.objects.get()
    assert row.digest == digest_of(token)
    assert token not in {str(getattr(row, field.name)) for field in row._meta.fields}


@pytest.mark.parametrize(
    "header",
    [
        "",
        "Bearer",
        "Bearer ",
        "Bearer none-such",
        "Bearer two words",
        "Bearer " + "x" * 100_000,
        "Bearer \xff\xfe",
        "Basic dXNlcjpwYXNz",
        "Token abc",
    ],
)
def test_without_a_good_token_nothing_is_written(header: str) -> None:
    answer = client_sending(header).post(ADDRESS, INSTRUMENT, format="json")
    assert_problem(answer, 401, name="unauthenticated")
    assert answer["WWW-Authenticate"] == 'Bearer realm="brickledger"'


def test_a_bad_token_is_an_error_for_readers_too() -> None:
    assert_problem(client_sending("Bearer none-such").get(ADDRESS), 401)


def test_reading_needs_no_token() -> None:
    assert APIClient().get(ADDRESS).status_code == 200


def test_a_token_in_the_address_opens_nothing(reviewer: User) -> None:
    token = ApiToken.issue(name="test", user=reviewer)
    for query in (f"token={token}", f"access_token={token}", f"Authorization=Bearer+{token}"):
        answer = APIClient().post(f"{ADDRESS}?{query}", INSTRUMENT, format="json")
        assert_problem(answer, 401)


def test_the_scheme_is_written_in_any_case(reviewer: User) -> None:
    token = ApiToken.issue(name="test", user=reviewer)
    assert post(client_sending(f"bearer {token}")) == 201


def test_a_token_that_expired_or_was_revoked_opens_nothing(reviewer: User) -> None:
    client = client_of(reviewer)
    now = timezone.now()
    ApiToken.objects.update(created_at=now - timedelta(days=2), expires_at=now - timedelta(days=1))
    assert post(client) == 401
    ApiToken.objects.update(expires_at=None, revoked_at=now)
    assert post(client) == 401
    ApiToken.objects.update(revoked_at=None, expires_at=now + timedelta(days=1))
    assert post(client) == 201


def test_the_token_of_a_person_who_left_opens_nothing(reviewer: User) -> None:
    client = client_of(reviewer)
    User.objects.filter(pk=reviewer.pk).update(is_active=False)
    assert post(client) == 401


def test_a_browser_that_is_signed_in_writes_only_with_its_csrf_token(reviewer: User) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(reviewer)
    assert_problem(client.post(ADDRESS, INSTRUMENT, format="json"), 403, name="forbidden")
    client.cookies["csrftoken"] = "a" * 32
    answer = client.post(ADDRESS, INSTRUMENT, format="json", headers={"X-CSRFToken": "a" * 32})
    assert answer.status_code == 201
