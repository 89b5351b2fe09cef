"""The page of tokens: a key is shown once, kept as a hash, and can be taken back."""

from __future__ import annotations

import html
import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from brickledger.models import ApiToken, digest_of
from brickledger.roles import ROLES

pytestmark = pytest.mark.django_db

PAGE = "/account/tokens/"


def form(**fields: str) -> dict[str, str]:
    return {
        "name": "bench logger",
        "role": "reviewer",
        "days": "90",
        "form_id": str(uuid.uuid4()),
    } | fields


def key_in(page: str) -> str:
    found = re.search(r'<code id="key">([^<]+)</code>', page)
    assert found is not None
    return html.unescape(found[1])


def revoke_page(token: ApiToken) -> str:
    return f"{PAGE}{token.pk}/revoke/"


@pytest.fixture
def signed_in(client: Client, reviewer: User) -> Client:
    client.force_login(reviewer)
    return client


def test_the_key_is_shown_once_works_and_is_kept_as_a_hash(
    signed_in: Client, reviewer: User
) -> None:
    answer = signed_in.post(PAGE, form())

    assert answer.status_code == 200
    key = key_in(answer.text)
    kept = ApiToken.objects.get()
    assert (kept.user, kept.name, kept.role) == (reviewer, "bench logger", "reviewer")
    assert kept.digest == digest_of(key)
    assert key not in {str(getattr(kept, field.name)) for field in kept._meta.fields}
    program = APIClient()
    program.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")
    assert program.get("/api/v1/runs/").status_code == 200
    assert key not in signed_in.get(PAGE).text


def test_the_key_is_in_no_address_cookie_or_session_and_no_cache_keeps_it(
    signed_in: Client,
) -> None:
    answer = signed_in.post(PAGE, form())

    key = key_in(answer.text)
    assert "no-store" in answer.headers["Cache-Control"]
    assert key not in str(answer.headers)
    assert key not in str(signed_in.cookies)
    for session in Session.objects.all():
        assert key not in str(session.get_decoded())


def test_the_same_form_sent_again_makes_no_second_token_and_shows_no_key(
    signed_in: Client,
) -> None:
    said = form()
    key = key_in(signed_in.post(PAGE, said).text)

    again = signed_in.post(PAGE, said, follow=True)

    assert again.redirect_chain == [(PAGE, 302)]
    assert ApiToken.objects.count() == 1
    assert key not in again.text
    assert "A key is shown once" in again.text


def test_each_page_has_a_form_of_its_own(signed_in: Client) -> None:
    numbers = [
        re.findall(r'name="form_id" value="([^"]+)"', page)
        for page in (signed_in.get(PAGE).text, signed_in.get(PAGE).text)
    ]
    assert [len(found) for found in numbers] == [1, 1]
    assert numbers[0] != numbers[1]


@pytest.mark.parametrize("days", ["30", "90", "365"])
def test_a_token_ends_after_the_days_that_were_chosen(signed_in: Client, days: str) -> None:
    signed_in.post(PAGE, form(days=days))

    token = ApiToken.objects.get()
    assert token.expires_at is not None
    span = token.expires_at - token.created_at
    assert abs(span - timedelta(days=int(days))) < timedelta(minutes=1)


def test_a_token_may_be_without_end_but_ends_after_ninety_days_by_default(
    signed_in: Client,
) -> None:
    assert '<option value="90" selected>' in signed_in.get(PAGE).text
    signed_in.post(PAGE, form(days=""))
    assert ApiToken.objects.get().expires_at is None


@pytest.mark.parametrize(
    ("account", "offered"),
    [("reader", {"reader"}), ("reviewer", {"reader", "reviewer"}), ("editor", set(ROLES))],
)
def test_no_role_above_ones_own_is_offered_or_taken(
    client: Client, person: Callable[[str], User], account: str, offered: set[str]
) -> None:
    client.force_login(person(account))

    page = client.get(PAGE).text
    assert set(re.findall(r'<option value="(reader|reviewer|editor)"', page)) == offered
    for role in ROLES:
        answer = client.post(PAGE, form(role=role))
        assert answer.status_code == (200 if role in offered else 400)
    assert {token.role for token in ApiToken.objects.all()} == offered


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"name": "x" * 101},
        {"name": "a\0b"},
        {"role": ""},
        {"role": "owner"},
        {"days": "31"},
        {"days": "-1"},
        {"form_id": ""},
        {"form_id": "7"},
    ],
)
def test_a_form_that_is_wrong_makes_nothing_and_keeps_what_was_written(
    signed_in: Client, wrong: dict[str, str]
) -> None:
    answer = signed_in.post(PAGE, form(**wrong))

    assert answer.status_code == 400
    assert "Nothing was kept." in answer.text
    assert 'id="key"' not in answer.text
    assert not ApiToken.objects.exists()
    if "name" not in wrong:
        assert 'value="bench logger"' in answer.text


def test_the_list_says_of_each_token_what_it_is_and_whether_it_is_of_use(
    signed_in: Client, reviewer: User
) -> None:
    now = timezone.now()
    for name in ("in use", "over", "taken back"):
        ApiToken.issue(name=name, user=reviewer)
    ApiToken.objects.filter(name="in use").update(last_used_at=now)
    ApiToken.objects.filter(name="over").update(
        created_at=now - timedelta(days=9), expires_at=now - timedelta(days=1)
    )
    ApiToken.objects.filter(name="taken back").revoke()

    page = signed_in.get(PAGE).text

    rows = {
        re.findall(r"<th scope=\"row\">([^<]*)", row)[0]: " ".join(
            re.sub("<[^>]*>", " ", row).split()
        )
        for row in page.split("<tr>")[2:]
    }
    assert set(rows) == {"in use", "over", "taken back"}
    assert f"{now:%Y-%m-%d %H:%M} never usable" in rows["in use"]
    assert "expired" in rows["over"]
    assert "revoked" in rows["taken back"]
    for token in ApiToken.objects.all():
        assert f"{token.prefix} …" in rows[token.name]
        assert (revoke_page(token) in page) == (token.name != "taken back")


def test_revoking_asks_first_and_then_ends_the_token_at_once(
    signed_in: Client, reviewer: User
) -> None:
    key = ApiToken.issue(name="old logger", user=reviewer)
    token = ApiToken.objects.get()
    asked = signed_in.get(revoke_page(token))
    assert "cannot be undone" in asked.text
    assert ApiToken.objects.get().is_usable

    answer = signed_in.post(revoke_page(token), follow=True)

    assert "“old logger” is revoked" in answer.text
    program = APIClient()
    program.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")
    assert program.get("/api/v1/runs/").status_code == 401


def test_revoking_twice_keeps_the_first_time(signed_in: Client, reviewer: User) -> None:
    ApiToken.issue(name="old logger", user=reviewer)
    token = ApiToken.objects.get()
    signed_in.post(revoke_page(token))
    first = ApiToken.objects.get().revoked_at

    answer = signed_in.post(revoke_page(token), follow=True)

    assert "was revoked before" in answer.text
    assert ApiToken.objects.get().revoked_at == first


def test_nobody_sees_or_revokes_the_tokens_of_others(
    client: Client, editor: User, reviewer: User
) -> None:
    ApiToken.issue(name="of the reviewer", user=reviewer)
    client.force_login(editor)

    assert "of the reviewer" not in client.get(PAGE).text
    assert "of the reviewer" not in client.get(PAGE, {"of": "everybody"}).text
    for send in (client.get, client.post):
        assert send(revoke_page(ApiToken.objects.get())).status_code == 404
    assert ApiToken.objects.get().is_usable


def test_a_superuser_sees_and_revokes_everybodys(admin_client: Client, reviewer: User) -> None:
    ApiToken.issue(name="of the reviewer", user=reviewer)

    assert "of the reviewer" not in admin_client.get(PAGE).text
    page = admin_client.get(PAGE, {"of": "everybody"}).text
    assert "of the reviewer" in page
    assert reviewer.get_username() in page
    answer = admin_client.post(revoke_page(ApiToken.objects.get()))
    assert answer.headers["Location"] == f"{PAGE}?of=everybody"
    assert not ApiToken.objects.get().is_usable


@pytest.mark.parametrize("query", ["of=nobody", "off=everybody", "page=0", "page=99"])
def test_an_address_that_is_not_understood_lists_nothing(signed_in: Client, query: str) -> None:
    answer = signed_in.get(f"{PAGE}?{query}")

    assert answer.status_code == 400
    assert "Nothing is listed" in answer.text


def test_a_form_without_its_csrf_token_makes_and_revokes_nothing(reviewer: User) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(reviewer)
    ApiToken.issue(name="old logger", user=reviewer)

    assert client.post(PAGE, form()).status_code == 403
    assert client.post(revoke_page(ApiToken.objects.get())).status_code == 403
    assert ApiToken.objects.get().is_usable


def issue(*arguments: str) -> Any:
    call_command("issue_token", "Bench logger", "--role", "reviewer", *arguments)
    return ApiToken.objects.get()


def test_the_command_makes_tokens_of_its_role_without_end_or_for_some_days() -> None:
    token = issue()
    assert (token.role, token.expires_at) == ("reviewer", None)
    token.delete()
    token = issue("--days", "30")
    span = token.expires_at - token.created_at
    assert abs(span - timedelta(days=30)) < timedelta(minutes=1)


@pytest.mark.parametrize("days", ["0", "-5", "99999999"])
def test_the_command_takes_no_senseless_number_of_days(days: str) -> None:
    with pytest.raises(CommandError, match="from 1 to 3650"):
        issue(f"--days={days}")
    assert not ApiToken.objects.exists()
    assert not User.objects.exists()
