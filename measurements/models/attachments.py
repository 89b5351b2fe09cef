"""Photographs, scope pictures and certificates that belong to a run or an adapter."""

from __future__ import annotations

import uuid
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from catalog.models import Adapter, Viewer
from measurements.models.bench import RawFile
from measurements.models.runs import Run


class AttachmentQuerySet(models.QuerySet["Attachment"]):
    """Filters over attachments."""

    def present(self) -> Self:
        """Those that nobody took off."""
        return self.filter(removed_at=None)

    def visible_to(self, viewer: Viewer) -> Self:
        """Those of adapters and runs that this person may know of."""
        return self.filter(
            Q(run__in=Run.objects.visible_to(viewer).values("pk"))
            | Q(adapter__in=Adapter.objects.visible_to(viewer).values("pk"))
        )


class Attachment(models.Model):
    """A picture or document beside the measurements.

    `original` is the file as it came, for whoever works here. `shown` is what everybody gets: of
    a picture a copy without what cameras write into it, such as the place.
    """

    class Kind(models.TextChoices):
        """What it shows."""

        PHOTOGRAPH = "photograph", "photograph"
        SCOPE_PICTURE = "scope-picture", "oscilloscope picture"
        CERTIFICATE = "certificate", "certificate"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    run = models.ForeignKey(
        Run, on_delete=models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    adapter = models.ForeignKey(
        Adapter, on_delete=models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    kind = models.CharField(max_length=20, choices=Kind)
    title = models.CharField(max_length=200)
    file_name = models.CharField(max_length=255)
    media_type = models.CharField(max_length=40)
    original = models.ForeignKey(RawFile, on_delete=models.PROTECT, related_name="+")
    shown = models.ForeignKey(RawFile, on_delete=models.PROTECT, related_name="+")
    width = models.PositiveIntegerField("width, pixels", null=True, blank=True)
    height = models.PositiveIntegerField("height, pixels", null=True, blank=True)
    added_at = models.DateTimeField(default=timezone.now)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    removed_reason = models.TextField(blank=True)

    objects = AttachmentQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(run=None, adapter__isnull=False) | Q(run__isnull=False, adapter=None),
                name="attachment_of_a_run_or_an_adapter",
            ),
            models.CheckConstraint(
                condition=(Q(removed_at__isnull=False) & ~Q(removed_reason=""))
                | Q(removed_at=None, removed_reason=""),
                name="attachment_removed_with_reason",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["photograph", "scope-picture", "certificate"]),
                name="attachment_kind_known",
            ),
            models.CheckConstraint(condition=~Q(title=""), name="attachment_has_title"),
        ]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        """Where it is served."""
        return reverse("attachment", args=[self.id])
