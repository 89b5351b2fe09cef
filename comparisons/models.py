"""Tables that editors build and publish."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from catalog.models import Adapter, Viewer


class ComparisonQuerySet(models.QuerySet["Comparison"]):
    """Filters over comparisons."""

    def visible_to(self, viewer: Viewer) -> Self:
        """Published ones for everybody, drafts for those who may write them."""
        if isinstance(viewer, AbstractUser) and viewer.has_perm("comparisons.change_comparison"):
            return self
        return self.filter(state=Comparison.State.PUBLISHED)


class Comparison(models.Model):
    """A table of adapters by metrics: live while a draft, frozen once it is published.

    `frozen` is the whole table with values, runs and method versions; `frozen_hash` is the
    SHA-256 of its canonical JSON. A published row never changes.
    """

    class State(models.TextChoices):
        """Whether it may still change."""

        DRAFT = "draft", "draft"
        PUBLISHED = "published", "published"

    title = models.CharField(max_length=150)
    slug = models.SlugField(max_length=170, unique=True)
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    adapters = models.ManyToManyField(Adapter, through="ComparedAdapter", related_name="+")
    metrics = models.JSONField(default=list)
    conditions = models.JSONField(default=dict, blank=True)
    notes = models.TextField(blank=True)
    # What narrows the rows of one metric beside `conditions`: objects with metric and conditions.
    metric_conditions = models.JSONField(default=list, blank=True)
    # Remarks on cells: objects with adapter (slug), metric (key) and text.
    cell_notes = models.JSONField(default=list, blank=True)
    # What stands beside the table, as `queries.blocks` names it: "efficiency:high:20".
    blocks = models.JSONField(default=list, blank=True)
    # Whether results that came by a table fill the cells of what was not measured.
    with_tables = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    changed_at = models.DateTimeField(auto_now=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    revises = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="revisions"
    )
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    frozen = models.JSONField(null=True, blank=True)
    frozen_hash = models.CharField(max_length=64, blank=True)

    objects = ComparisonQuerySet.as_manager()

    class Meta:
        permissions = [("publish_comparison", "Can publish comparisons")]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="published", published_at__isnull=False, frozen__isnull=False)
                & ~Q(frozen_hash="")
                | Q(state="draft", published_at=None, frozen=None, frozen_hash=""),
                name="comparison_published_is_frozen",
            )
        ]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        """The comparison's own address."""
        return reverse("comparison", args=[self.slug])


class ComparedAdapter(models.Model):
    """An adapter's column in a comparison."""

    comparison = models.ForeignKey(Comparison, on_delete=models.CASCADE, related_name="columns")
    adapter = models.ForeignKey(Adapter, on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()
    # Neighbours of one name stand under a common heading.
    group = models.CharField(max_length=60, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["comparison", "adapter"], name="compared_adapter_once"),
            models.UniqueConstraint(
                fields=["comparison", "position"], name="compared_position_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.comparison_id}: {self.adapter_id}"
