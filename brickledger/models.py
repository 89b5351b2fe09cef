"""What belongs to the site as a whole: access tokens and a notice on every page."""

from __future__ import annotations

import hashlib
import secrets
import uuid
from datetime import datetime
from typing import Any, NoReturn, Self

from django.conf import settings
from django.contrib.auth.models import User
from django.db import models
from django.db.models import Q
from django.utils import timezone

from brickledger.roles import PERMISSIONS, ROLES, role_of

PREFIX_LENGTH = 8


def digest_of(token: str) -> str:
    """The hash under which a token is kept. Tokens are random, so one pass is enough."""
    return hashlib.sha256(token.encode("utf-8")).hexdigest()


class TokenUser(User):
    """An account as one of its tokens may use it: what both the account and the role may do.

    It stands for the account wherever a row names a person, and is never saved itself. It is
    no superuser and no member of staff, whatever the account is.
    """

    account: User
    role: str

    class Meta:
        proxy = True
        default_permissions = ()

    @classmethod
    def of(cls, account: User, *, role: str) -> Self:
        """The `account` narrowed to `role`."""
        names = [field.attname for field in cls._meta.concrete_fields]
        values = [getattr(account, name) for name in names]
        narrowed = cls.from_db(account._state.db, names, values)
        narrowed.is_superuser = narrowed.is_staff = False
        narrowed.account, narrowed.role = account, role
        return narrowed

    def has_perm(self, perm: str, obj: Any = None) -> bool:
        """Whether role and account both have the permission."""
        return perm in PERMISSIONS[self.role] and self.account.has_perm(perm, obj)

    def has_module_perms(self, app_label: str) -> bool:
        """Whether anything of that app may be done."""
        return any(name.startswith(f"{app_label}.") for name in self.get_all_permissions())

    def get_user_permissions(self, obj: Any = None) -> set[str]:
        """Those of the account itself that the role has too."""
        return self.account.get_user_permissions(obj) & set(PERMISSIONS[self.role])

    def get_group_permissions(self, obj: Any = None) -> set[str]:
        """Those of the account's groups that the role has too."""
        return self.account.get_group_permissions(obj) & set(PERMISSIONS[self.role])

    def get_all_permissions(self, obj: Any = None) -> set[str]:
        """Those of the account that the role has too."""
        return self.account.get_all_permissions(obj) & set(PERMISSIONS[self.role])

    def save(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Never: it would write the narrowed rights into the account."""
        raise TypeError("This is an account as a token sees it; change the account itself.")

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Never: see `save`."""
        self.save()


class ApiTokenQuerySet(models.QuerySet["ApiToken"]):
    """What is done to several tokens."""

    def revoke(self) -> int:
        """Take them back, at once and for good; how many were not revoked before."""
        return self.filter(revoked_at=None).update(revoked_at=timezone.now())


class ApiToken(models.Model):
    """A key for programs. Only its hash is kept; the key is shown once, when it is made."""

    class State(models.TextChoices):
        """Whether it opens anything, in words."""

        USABLE = "usable", "usable"
        EXPIRED = "expired", "expired"
        REVOKED = "revoked", "revoked"

    name = models.CharField(max_length=100)
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="api_tokens"
    )
    prefix = models.CharField(max_length=PREFIX_LENGTH)
    digest = models.CharField(max_length=64, unique=True)
    # The most that it may do; what its account may not, it may not either.
    role = models.CharField(max_length=8, choices=[(role, role) for role in ROLES])
    created_at = models.DateTimeField(default=timezone.now)
    # Not exact: written at most once a minute.
    last_used_at = models.DateTimeField(null=True, blank=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    # The page's form that asked for it, so that the same form sent twice makes one token.
    form_id = models.UUIDField(null=True, blank=True, unique=True, editable=False)

    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(role__in=ROLES), name="token_role_known"),
            models.CheckConstraint(
                condition=Q(expires_at=None) | Q(expires_at__gt=models.F("created_at")),
                name="token_expires_after_creation",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"

    @classmethod
    def issue(
        cls,
        *,
        name: str,
        user: User,
        role: str = "",
        expires_at: datetime | None = None,
        form_id: uuid.UUID | None = None,
    ) -> str:
        """Make a token for `user` and return it; it cannot be had again.

        Its role is the user's unless a lower one is named.
        """
        token = secrets.token_urlsafe(32)
        cls.objects.create(
            name=name,
            user=user,
            role=role or role_of(user),
            prefix=token[:PREFIX_LENGTH],
            digest=digest_of(token),
            expires_at=expires_at,
            form_id=form_id,
        )
        return token

    @property
    def state(self) -> State:
        """Whether it still opens anything, and if not, why."""
        if self.revoked_at is not None:
            return self.State.REVOKED
        if self.expires_at is not None and self.expires_at <= timezone.now():
            return self.State.EXPIRED
        return self.State.USABLE

    @property
    def is_usable(self) -> bool:
        """Whether it still opens anything."""
        return self.state == self.State.USABLE


class SiteNotice(models.Model):
    """A sentence shown on every page, such as that all data are invented."""

    text = models.CharField(max_length=300, unique=True)

    def __str__(self) -> str:
        return self.text
