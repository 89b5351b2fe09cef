"""The trail of writes: who changed what over which door, and the answers kept for repeats."""

from __future__ import annotations

from datetime import timedelta
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

KEPT_FOR = timedelta(days=7)
"""How long a repeat under the same Idempotency-Key gets the first answer."""


class WriteQuerySet(models.QuerySet["Write"]):
    """Filters over writes."""

    def answering(self) -> Self:
        """Those whose answer is still kept for a repeat."""
        return self.filter(at__gte=timezone.now() - KEPT_FOR).exclude(key="")

    def forget_answers(self) -> int:
        """Empty the answers whose time is over; how many. The rows stay."""
        over = self.filter(at__lt=timezone.now() - KEPT_FOR).exclude(key="")
        return over.update(key="", fingerprint="", answer=None)


class Write(models.Model):
    """One successful write: who, when, by which token, what was asked and what it made.

    Rows are only ever added. A write of the API is recorded in the transaction of the change
    itself, so that there is none without its row. `key`, `fingerprint` and `answer` serve
    repeats of the same request (Idempotency-Key); they are emptied when their time is over.
    """

    class Door(models.TextChoices):
        """Where it came in."""

        API = "api", "API"
        PAGE = "page", "page"

    at = models.DateTimeField(default=timezone.now, db_index=True)
    door = models.CharField(max_length=4, choices=Door)
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    # The token's name and first signs, as text: the trail outlives the token.
    token = models.CharField(max_length=120, blank=True)
    address = models.GenericIPAddressField("network address", null=True, blank=True)
    method = models.CharField(max_length=8)
    path = models.CharField(max_length=300)
    status = models.PositiveSmallIntegerField()
    # Where what was made or changed is to be found.
    subject = models.CharField(max_length=300, blank=True)
    key = models.CharField(max_length=200, blank=True)
    fingerprint = models.CharField(max_length=64, blank=True)
    answer = models.JSONField(null=True, blank=True)

    objects = WriteQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "key"], condition=~Q(key=""), name="write_once_for_its_key"
            ),
            models.CheckConstraint(condition=Q(door__in=["api", "page"]), name="write_door_known"),
        ]

    def __str__(self) -> str:
        return f"{self.method} {self.path} {self.at:%Y-%m-%d %H:%M}"
