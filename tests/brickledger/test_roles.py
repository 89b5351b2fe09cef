"""Who may do what: the four people of the site."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import Group, Permission, User

from brickledger.roles import PERMISSIONS, ROLES, ensure_roles, give_role

pytestmark = pytest.mark.django_db


def test_every_named_permission_exists() -> None:
    known = {
        f"{app_label}.{codename}"
        for app_label, codename in Permission.objects.values_list(
            "content_type__app_label", "codename"
        )
    }
    assert {name for names in PERMISSIONS.values() for name in names} <= known


@pytest.mark.parametrize("role", ROLES)
def test_a_role_has_exactly_its_permissions(role: str, person: Any) -> None:
    assert person(role).get_all_permissions() == set(PERMISSIONS[role])


def test_each_role_may_do_all_that_the_one_below_it_may() -> None:
    reader, reviewer, editor = (set(PERMISSIONS[role]) for role in ROLES)
    assert reader < reviewer < editor


@pytest.mark.parametrize(
    ("permission", "allowed"),
    [
        ("measurements.receive_run", {"reviewer", "editor"}),
        ("catalog.view_unpublished", {"reviewer", "editor"}),
        ("measurements.accept_run", {"editor"}),
        ("comparisons.publish_comparison", {"editor"}),
        ("measurements.delete_run", set()),
        ("measurements.delete_rawfile", set()),
    ],
)
def test_what_matters_is_allowed_to_the_right_people(
    permission: str, allowed: set[str], person: Any
) -> None:
    assert {role for role in ROLES if person(role).has_perm(permission)} == allowed


def test_a_permission_taken_from_a_group_by_hand_comes_back_with_the_next_migration() -> None:
    group = Group.objects.get(name="editor")
    group.permissions.clear()
    ensure_roles()
    assert group.permissions.count() == len(PERMISSIONS["editor"])


def test_a_person_has_one_role_at_a_time(person: Any) -> None:
    user: User = person("editor")
    assert user.is_staff
    give_role(user, "reviewer")
    user = User.objects.get(pk=user.pk)
    assert not user.is_staff
    assert not user.has_perm("measurements.accept_run")
    assert [group.name for group in user.groups.all()] == ["reviewer"]
