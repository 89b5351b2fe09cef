"""What belongs to the site as a whole: access tokens and a notice on every page."""

from __future__ import annotations

import hashlib
import secrets

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

PREFIX_LENGTH = 8


def digest_of(token: str) -> str:
    """The hash under which a token is kept. Tokens are random, so one pass is enough."""
    return hashlib.sha256(token.encode("utf-8")).hexdigest()


class ApiToken(models.Model):
    """A key for programs. Only its hash is kept; the key is shown once, when it is made."""

    name = models.CharField(max_length=100)
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="api_tokens"
    )
    prefix = models.CharField(max_length=PREFIX_LENGTH)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(expires_at=None) | Q(expires_at__gt=models.F("created_at")),
                name="token_expires_after_creation",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"

    @classmethod
    def issue(cls, *, name: str, user: models.Model) -> str:
        """Make a token for `user` and return it; it cannot be had again."""
        token = secrets.token_urlsafe(32)
        cls.objects.create(
            name=name, user=user, prefix=token[:PREFIX_LENGTH], digest=digest_of(token)
        )
        return token

    @property
    def is_usable(self) -> bool:
        """Whether it still opens anything."""
        return self.revoked_at is None and (
            self.expires_at is None or self.expires_at > timezone.now()
        )


class SiteNotice(models.Model):
    """A sentence shown on every page, such as that all data are invented."""

    text = models.CharField(max_length=300, unique=True)

    def __str__(self) -> str:
        return self.text
