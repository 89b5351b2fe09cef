"""A token does what both its account and its role may do, and nothing else."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.contrib.auth.models import AbstractUser, Group, User
from django.db import DatabaseError, IntegrityError, connection, models
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from brickledger.models import ApiToken, TokenUser
from brickledger.roles import PERMISSIONS, ROLES, role_of, roles_up_to
from catalog.models import Adapter, Write
from tests.factories.api import ADAPTER, INSTRUMENT, assert_problem
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

INSTRUMENTS = "/api/v1/instruments/"


def client_with(user: User, role: str) -> APIClient:
    client = APIClient()
    token = ApiToken.issue(name="test", user=user, role=role)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("account", [*ROLES, "superuser"])
def test_a_token_may_do_what_both_may(
    account: str, role: str, person: Callable[[str], User], admin_user: User
) -> None:
    user = admin_user if account == "superuser" else person(account)
    both = set(PERMISSIONS[role])
    if account != "superuser":
        both &= set(PERMISSIONS[account])

    seen = TokenUser.of(user, role=role)

    assert seen.get_all_permissions() == both
    every = {name for names in PERMISSIONS.values() for name in names}
    assert {name for name in every if seen.has_perm(name)} == both
    assert {name for name in every if seen.has_perms([name])} == both
    assert not seen.has_perm("measurements.delete_run")
    assert not seen.has_perm("brickledger.change_apitoken")
    assert {app for app in ("catalog", "measurements") if seen.has_module_perms(app)} == {
        name.split(".")[0] for name in both
    } - {"comparisons"}
    assert not seen.is_superuser
    assert not seen.is_staff


def test_who_is_narrowed_stays_the_same_person(editor: User) -> None:
    seen = TokenUser.of(editor, role="reader")

    assert isinstance(seen, User)
    assert isinstance(seen, AbstractUser)
    assert seen == editor
    assert hash(seen) == hash(editor)
    assert seen.is_authenticated
    write = Write.objects.create(door="api", user=seen, method="POST", path="/", status=201)
    assert Write.objects.get(pk=write.pk).user == editor
    assert Write.objects.filter(user=seen).count() == 1


def test_narrowed_rights_are_never_written_into_the_account(admin_user: User) -> None:
    seen = TokenUser.of(admin_user, role="reader")

    with pytest.raises(TypeError, match="change the account itself"):
        seen.save()
    with pytest.raises(TypeError, match="change the account itself"):
        seen.delete()
    assert User.objects.get(pk=admin_user.pk).is_superuser


def test_a_superusers_token_for_reading_writes_nothing(admin_user: User) -> None:
    client = client_with(admin_user, "reader")

    assert client.get(INSTRUMENTS).status_code == 200
    assert_problem(client.post(INSTRUMENTS, INSTRUMENT, format="json"), 403, name="forbidden")
    assert_problem(client.post("/api/v1/adapters/", ADAPTER, format="json"), 403)
    assert not Adapter.objects.exists()


def test_a_superusers_token_of_a_higher_role_does_what_that_role_may(admin_user: User) -> None:
    client = client_with(admin_user, "reviewer")

    assert client.post(INSTRUMENTS, INSTRUMENT, format="json").status_code == 201


def test_a_token_sees_only_what_its_role_may_see(editor: User) -> None:
    make_adapter(publish_on=timezone.now().date() + timedelta(days=9))
    address = "/api/v1/adapters/northfold-solo-65/"

    assert client_with(editor, "reader").get(address).status_code == 404
    assert client_with(editor, "reviewer").get(address).status_code == 200


def test_a_role_above_the_account_gives_nothing_more(person: Callable[[str], User]) -> None:
    client = client_with(person("reader"), "editor")

    assert_problem(client.post(INSTRUMENTS, INSTRUMENT, format="json"), 403)


def test_an_account_that_loses_its_role_takes_its_tokens_along(reviewer: User) -> None:
    client = client_with(reviewer, "reviewer")
    reviewer.groups.clear()

    assert_problem(client.post(INSTRUMENTS, INSTRUMENT, format="json"), 403)


@pytest.mark.parametrize("role", ROLES)
def test_a_token_has_its_accounts_role_unless_told_otherwise(
    role: str, person: Callable[[str], User]
) -> None:
    ApiToken.issue(name="test", user=person(role))

    assert ApiToken.objects.get().role == role


def test_the_highest_role_counts_and_a_superuser_is_an_editor(
    person: Callable[[str], User], admin_user: User
) -> None:
    both = person("reviewer")
    both.groups.add(Group.objects.get(name="reader"))

    assert role_of(both) == "reviewer"
    assert role_of(admin_user) == "editor"
    assert role_of(User.objects.create_user("nobody")) == "reader"
    assert [roles_up_to(role) for role in ROLES] == [ROLES[:1], ROLES[:2], ROLES]


def test_no_other_role_can_be_stored(reviewer: User) -> None:
    with pytest.raises(IntegrityError, match="token_role_known"):
        ApiToken.issue(name="test", user=reviewer, role="owner")


def test_tokens_from_before_roles_keep_what_they_opened(
    person: Callable[[str], User], admin_user: User
) -> None:
    people = [person(role) for role in ROLES] + [admin_user, User.objects.create_user("nobody")]
    for user in people:
        ApiToken.issue(name="old", user=user, role="reader")
    migration = import_module("brickledger.migrations.0003_roles_of_tokens")

    # Not entered: it is only asked for its connection.
    migration.give_roles(apps, connection.schema_editor())

    given = {token.user: token.role for token in ApiToken.objects.select_related("user")}
    assert [given[user] for user in people] == [*ROLES, "editor", "reader"]


def test_the_last_use_is_noted_once_a_minute(
    reviewer: User, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    client = client_with(reviewer, "reviewer")
    before = timezone.now()
    client.get(INSTRUMENTS)
    first = ApiToken.objects.get().last_used_at
    assert first is not None
    assert before <= first <= timezone.now()

    client.get(INSTRUMENTS)
    assert ApiToken.objects.get().last_used_at == first

    ApiToken.objects.update(last_used_at=first - timedelta(seconds=61))
    client.get(INSTRUMENTS)
    later = ApiToken.objects.get().last_used_at
    assert later is not None
    assert later >= first


def test_a_token_that_is_refused_was_not_used(reviewer: User) -> None:
    client = client_with(reviewer, "reviewer")
    ApiToken.objects.revoke()

    assert client.get(INSTRUMENTS).status_code == 401
    assert ApiToken.objects.get().last_used_at is None


def test_reading_goes_on_when_the_use_cannot_be_noted(
    reviewer: User, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def refuse(*_: Any, **__: Any) -> int:
        raise DatabaseError("database is locked")

    client = client_with(reviewer, "reviewer")
    monkeypatch.setattr(models.QuerySet, "update", refuse)

    assert client.get(INSTRUMENTS).status_code == 200
    assert "use of a token was not noted" in caplog.text
