"""Limits of the API from end to end: who is counted, and what a caller over its limit is told."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from brickledger import checks
from brickledger.addresses import client_address, network_of
from brickledger.middleware import ClientAddressMiddleware
from brickledger.models import ApiToken
from tests.factories.api import INSTRUMENT, assert_problem, client_of

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/metrics/"
BEGIN_S = 1_800_000_000.0


@pytest.fixture(autouse=True)
def three_calls(settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Three calls a minute for everybody, counted in a file, at a time that stands still."""
    clock = [BEGIN_S]
    settings.RATE_TOKEN = settings.RATE_ADDRESS = 3
    settings.PROXIES = 0
    settings.CELERY_BROKER_URL = "filesystem://localhost"
    settings.DATA_DIR = tmp_path
    monkeypatch.setattr("brickledger.rate_limits.time.time", lambda: clock[0])
    return clock


def statuses(client: APIClient, count: int, **more: Any) -> list[int]:
    return [client.get(ADDRESS, **more).status_code for _ in range(count)]


def test_over_the_limit_a_caller_is_told_when_to_come_back(three_calls: list[float]) -> None:
    client = APIClient()
    assert statuses(client, 3) == [200, 200, 200]

    answer = client.get(ADDRESS)

    assert_problem(answer, 429, name="too-many")
    # A decimal number of seconds (RFC 9110, 10.2.3).
    assert answer["Retry-After"] == "61"
    assert answer["RateLimit-Policy"] == '"address";q=3;w=60'
    assert answer["RateLimit"] == '"address";r=0;t=61'
    three_calls[0] += int(answer["Retry-After"])
    assert client.get(ADDRESS).status_code == 200


def test_answers_for_everybody_carry_nobodys_count() -> None:
    answer = APIClient().get(ADDRESS)

    assert "RateLimit" not in answer
    assert "RateLimit-Policy" not in answer


def test_whoever_signs_in_is_told_what_is_left(reviewer: User, three_calls: list[float]) -> None:
    three_calls[0] += 15
    client = client_of(reviewer)

    told = [client.get(ADDRESS)["RateLimit"] for _ in range(3)]

    assert told == ['"token";r=2;t=45', '"token";r=1;t=45', '"token";r=0;t=45']
    assert client.get(ADDRESS)["RateLimit-Policy"] == '"token";q=3;w=60'


def test_each_token_each_account_and_each_address_has_a_count_of_its_own(reviewer: User) -> None:
    browser = APIClient()
    browser.force_login(reviewer)
    for client in (client_of(reviewer), client_of(reviewer), browser, APIClient()):
        assert statuses(client, 4) == [200, 200, 200, 429]
    assert statuses(APIClient(), 4, REMOTE_ADDR="192.0.2.8") == [200, 200, 200, 429]


def test_an_account_over_its_limit_is_told_its_own_policy(reviewer: User) -> None:
    browser = APIClient()
    browser.force_login(reviewer)
    statuses(browser, 3)

    assert browser.get(ADDRESS)["RateLimit"] == '"account";r=0;t=61'


def test_wrong_tokens_count_for_their_address_and_for_no_token(reviewer: User) -> None:
    guesser = APIClient()
    guesser.credentials(HTTP_AUTHORIZATION="Bearer guessed")
    assert statuses(guesser, 4) == [401, 401, 401, 429]
    guesser.credentials(HTTP_AUTHORIZATION="Bearer two words")
    assert statuses(guesser, 1) == [429]

    assert statuses(APIClient(), 1) == [429]
    assert statuses(client_of(reviewer), 3) == [200, 200, 200]


def test_a_revoked_token_counts_for_its_address(reviewer: User) -> None:
    client = client_of(reviewer)
    ApiToken.objects.revoke()

    assert statuses(client, 4) == [401, 401, 401, 429]


def test_what_was_refused_by_the_limit_changes_nothing(editor: User) -> None:
    client = client_of(editor)
    statuses(client, 3)

    assert client.post("/api/v1/instruments/", INSTRUMENT, format="json").status_code == 429
    client = client_of(editor)
    assert client.get("/api/v1/instruments/").json()["results"] == []


def test_pages_are_not_counted(client: Client) -> None:
    assert [client.get("/methods/").status_code for _ in range(5)] == [200] * 5


@pytest.mark.parametrize(("name", "policy"), [("RATE_TOKEN", "token"), ("RATE_ADDRESS", "address")])
def test_nought_sets_no_limit_and_tells_none(
    name: str, policy: str, settings: Settings, reviewer: User, tmp_path: Path
) -> None:
    setattr(settings, name, 0)
    client = client_of(reviewer if policy == "token" else None)

    assert statuses(client, 9) == [200] * 9
    assert "RateLimit" not in client.get(ADDRESS)
    assert not (tmp_path / "calls.sqlite3").exists()


def test_without_a_store_every_call_is_let_through(settings: Settings, tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    settings.DATA_DIR = tmp_path / "file"

    assert statuses(APIClient(), 9) == [200] * 9


@pytest.mark.parametrize(
    ("proxies", "header", "seen"),
    [
        (0, "198.51.100.1", "192.0.2.1"),
        (1, "198.51.100.1", "198.51.100.1"),
        (1, "203.0.113.9, 198.51.100.1", "198.51.100.1"),
        (2, "203.0.113.9, 198.51.100.1, 198.51.100.2", "198.51.100.1"),
        (2, "198.51.100.2", "198.51.100.2"),
        (1, "198.51.100.1:4711", "198.51.100.1"),
        (1, "[2001:db8::1]:4711", "2001:db8::1"),
        (1, "2001:db8::1", "2001:db8::1"),
        (1, "::ffff:198.51.100.1", "198.51.100.1"),
        (1, "fe80::1%eth0", "fe80::1"),
        (1, "", "192.0.2.1"),
        (1, "unknown", "192.0.2.1"),
        (1, ",,,", "192.0.2.1"),
        (1, "[", "192.0.2.1"),
        (1, "1.2.3.4.5", "192.0.2.1"),
        (1, "\x00\xff", "192.0.2.1"),
        (3, "," * 100_000, "192.0.2.1"),
        (1, "9" * 100_000, "192.0.2.1"),
    ],
)
def test_the_client_is_the_one_that_the_trusted_proxies_saw(
    settings: Settings, proxies: int, header: str, seen: str
) -> None:
    """X-Forwarded-For read from the right; addresses are of RFC 5737 and RFC 3849."""
    settings.PROXIES = proxies
    request = HttpRequest()
    request.META = {"REMOTE_ADDR": "192.0.2.1", "HTTP_X_FORWARDED_FOR": header}

    assert str(client_address(request)) == seen
    answer = APIClient().get(ADDRESS, headers={"X-Forwarded-For": header[:1000]})
    assert answer.status_code == 200


def test_a_socket_of_the_same_machine_has_no_address(settings: Settings) -> None:
    request = HttpRequest()
    request.META = {"REMOTE_ADDR": ""}

    assert client_address(request) is None
    assert network_of(None) == "unknown"


def test_a_network_of_version_six_is_one_caller() -> None:
    """A subnet has 64 bits (RFC 4291, section 2.5.1)."""
    client = APIClient()
    neighbours = [f"2001:db8:0:7::{host:x}" for host in range(1, 5)]

    told = [client.get(ADDRESS, REMOTE_ADDR=address).status_code for address in neighbours]

    assert told == [200, 200, 200, 429]
    assert statuses(client, 1, REMOTE_ADDR="2001:db8:0:8::1") == [200]


def test_a_client_wins_nothing_by_a_header_that_no_proxy_wrote() -> None:
    client = APIClient()

    told = [
        client.get(ADDRESS, headers={"X-Forwarded-For": f"198.51.100.{host}"}).status_code
        for host in range(4)
    ]

    assert told == [200, 200, 200, 429]


@pytest.mark.parametrize(
    ("https", "limit", "proxies", "warned"),
    [(True, 600, 0, True), (True, 600, 1, False), (True, 0, 0, False), (False, 600, 0, False)],
)
def test_clients_of_a_proxy_that_are_counted_as_one_are_a_warning(
    settings: Settings, https: bool, limit: int, proxies: int, warned: bool
) -> None:
    settings.BEHIND_HTTPS, settings.RATE_ADDRESS, settings.PROXIES = https, limit, proxies

    found = checks.proxies_are_told_apart_from_clients(None)

    assert [message.id for message in found] == ["brickledger.W003"] * warned


def test_everything_behind_the_proxies_is_given_the_clients_address(settings: Settings) -> None:
    settings.PROXIES = 1
    request = RequestFactory().get("/", headers={"X-Forwarded-For": "198.51.100.9:80"})

    seen = ClientAddressMiddleware(lambda it: HttpResponse(it.META["REMOTE_ADDR"]))(request)

    assert seen.content == b"198.51.100.9"
