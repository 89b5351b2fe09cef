"""The four people of the site as groups of permissions.

A reader needs no account for what is published. The groups are written after every
migration, so that a permission added to the code reaches them.
"""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import Group, Permission, User

READER, REVIEWER, EDITOR = "reader", "reviewer", "editor"
ROLES = (READER, REVIEWER, EDITOR)

_REVIEWER = (
    "catalog.view_unpublished",
    "catalog.add_adapter",
    "catalog.change_adapter",
    "catalog.add_device",
    "catalog.change_device",
    "measurements.receive_run",
    "measurements.add_instrument",
    "measurements.change_instrument",
)
_EDITOR = (
    *_REVIEWER,
    "catalog.add_maker",
    "catalog.change_maker",
    "catalog.add_protocol",
    "catalog.change_protocol",
    "catalog.delete_protocol",
    "catalog.add_unit",
    "catalog.change_unit",
    "measurements.accept_run",
    "catalog.view_write",
    "comparisons.add_comparison",
    "comparisons.change_comparison",
    "comparisons.publish_comparison",
)
PERMISSIONS: dict[str, tuple[str, ...]] = {READER: (), REVIEWER: _REVIEWER, EDITOR: _EDITOR}


def ensure_roles(*, using: str = "default", **_: Any) -> None:
    """Write the groups and their permissions; those not created yet come with a later app."""
    for role, names in PERMISSIONS.items():
        group, _created = Group.objects.using(using).get_or_create(name=role)
        wanted: list[Permission] = []
        for name in names:
            app_label, codename = name.split(".")
            wanted += Permission.objects.using(using).filter(
                content_type__app_label=app_label, codename=codename
            )
        group.permissions.set(wanted)


def give_role(user: User, role: str) -> None:
    """Make `role` the user's only role. Editors may enter the admin pages too."""
    user.groups.set([Group.objects.get(name=role)])
    user.is_staff = role == EDITOR
    user.save(update_fields=["is_staff"])


def role_of(user: User) -> str:
    """The highest role of the account: an editor's for superusers, a reader's without any."""
    if user.is_superuser:
        return EDITOR
    held = set(user.groups.values_list("name", flat=True))
    return next((role for role in reversed(ROLES) if role in held), READER)


def roles_up_to(role: str) -> tuple[str, ...]:
    """The roles that may do no more than `role`, the lowest first."""
    return ROLES[: ROLES.index(role) + 1]
