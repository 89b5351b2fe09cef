"""Results that were computed elsewhere and came in by a table, without a raw record."""

from __future__ import annotations

import uuid
from typing import Any, Self

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from measurements.models.bench import RawFile


class ResultTableQuerySet(models.QuerySet["ResultTable"]):
    """Filters over tables of results."""

    def visible_to(self, viewer: Any) -> Self:
        """Those that readers may see: accepted ones; whoever works here sees all."""
        if isinstance(viewer, AbstractUser) and viewer.has_perm("measurements.receive_run"):
            return self
        return self.filter(accepted_at__isnull=False, withdrawn_at=None)


class ResultTable(models.Model):
    """A table of results that came ready-made; its file is kept as it came.

    Its values stand from the moment an editor accepts it until they are replaced by those of a
    later table, or until it is withdrawn. They never take the place of a measured value.
    `origin` says where the results come from, in the bench's own words.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    raw = models.ForeignKey(RawFile, on_delete=models.PROTECT, related_name="tables")
    file_name = models.CharField(max_length=255)
    origin = models.CharField(max_length=300)
    received_at = models.DateTimeField(default=timezone.now)
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_reason = models.TextField(blank=True)
    rows_read = models.PositiveIntegerField(default=0)
    rows_refused = models.PositiveIntegerField(default=0)
    # What is wrong with the refused rows, as {"row", "column", "detail"}; remarks by row number.
    problems = models.JSONField(default=list, blank=True)
    remarks = models.JSONField(default=dict, blank=True)

    objects = ResultTableQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["raw"],
                condition=Q(withdrawn_at=None),
                name="result_table_once_for_its_file",
            ),
            models.CheckConstraint(
                condition=(Q(withdrawn_at__isnull=False) & ~Q(withdrawn_reason=""))
                | Q(withdrawn_at=None, withdrawn_reason=""),
                name="result_table_withdrawn_with_reason",
            ),
            models.CheckConstraint(condition=~Q(origin=""), name="result_table_has_origin"),
        ]

    def __str__(self) -> str:
        return self.file_name

    @property
    def standing(self) -> str:
        """What the bench holds of it: provisional, accepted or withdrawn."""
        if self.withdrawn_at is not None:
            return "withdrawn"
        return "provisional" if self.accepted_at is None else "accepted"

    def get_absolute_url(self) -> str:
        """The table's page."""
        return reverse("result-table", args=[self.id])
