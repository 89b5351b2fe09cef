"""Files that arrived and wait for a person, and what a bench says once about its files."""

from __future__ import annotations

import uuid
from typing import Self

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from catalog.models import Viewer
from measurements.intake import column_maps
from measurements.models.bench import RawFile
from measurements.models.runs import Run


class ColumnMapQuerySet(models.QuerySet["ColumnMap"]):
    """Filters over column maps."""

    def in_use(self) -> Self:
        """Those that are applied to new files."""
        return self.filter(retired_at=None)


class ColumnMap(models.Model):
    """How the files of one shape are read as one kind of run, under a name of this bench.

    A shape is told by the headings (`fingerprint`). A map is never changed, because runs were
    read by it: another choice retires it and makes a new one. At most one is in use for a kind
    and a shape.
    """

    name = models.CharField(max_length=80)
    kind = models.SlugField(max_length=40)
    fingerprint = models.CharField(max_length=64, editable=False)
    # As `intake.column_maps.ColumnMap` writes itself out.
    content = models.JSONField()
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    retired_at = models.DateTimeField(null=True, blank=True)

    objects = ColumnMapQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "fingerprint"],
                condition=Q(retired_at=None),
                name="column_map_once_for_a_shape",
            ),
            models.UniqueConstraint(
                fields=["name"], condition=Q(retired_at=None), name="column_map_name_once"
            ),
            models.CheckConstraint(condition=~Q(name=""), name="column_map_has_name"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def pure(self) -> column_maps.ColumnMap:
        """The map as readers take it."""
        return column_maps.ColumnMap.from_json(self.content, name=self.name)


class FileNamePatternQuerySet(models.QuerySet["FileNamePattern"]):
    """Filters over patterns of file names."""

    def in_use(self) -> Self:
        """Those that are tried on new files."""
        return self.filter(retired_at=None)


class FileNamePattern(models.Model):
    """What the parts of a file's name mean on this bench, such as ``{adapter}_{mains_v}V.csv``.

    The syntax is that of `intake.file_names`.
    """

    pattern = models.CharField(max_length=200)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    retired_at = models.DateTimeField(null=True, blank=True)

    objects = FileNamePatternQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["pattern"],
                condition=Q(retired_at=None),
                name="file_name_pattern_once",
            ),
        ]

    def __str__(self) -> str:
        return self.pattern


class ArrivalQuerySet(models.QuerySet["Arrival"]):
    """Filters over arrivals."""

    def waiting(self) -> Self:
        """Those that were neither handed in nor put away."""
        return self.filter(run=None, put_away_at=None)

    def of(self, person: Viewer) -> Self:
        """Those that this person may see: their own; editors see everybody's."""
        if not isinstance(person, AbstractUser):
            return self.none()
        if person.has_perm("measurements.accept_run"):
            return self
        return self.filter(by=person)


class Arrival(models.Model):
    """A file that is kept already and that somebody still has to describe and hand in.

    `said` are the fields of the upload said so far, as texts. `chosen` is how the person wants
    the columns read, as `intake.column_maps.ColumnMap` writes itself out; without it the maps
    of the bench apply. Whatever changes one of them raises `revision`; `found` is what a worker
    found when it read the file under `found_revision`.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    raw = models.ForeignKey(RawFile, on_delete=models.PROTECT, related_name="arrivals")
    file_name = models.CharField(max_length=255)
    arrived_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="arrivals"
    )
    said = models.JSONField(default=dict, blank=True)
    chosen = models.JSONField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1)
    found_revision = models.PositiveIntegerField(default=0)
    found = models.JSONField(null=True, blank=True)
    step = models.CharField(max_length=80, blank=True)
    rung_at = models.DateTimeField(null=True, blank=True)
    run = models.ForeignKey(
        Run, on_delete=models.PROTECT, null=True, blank=True, related_name="arrivals"
    )
    put_away_at = models.DateTimeField(null=True, blank=True)

    objects = ArrivalQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["by", "arrived_at"],
                condition=Q(run=None, put_away_at=None),
                name="arrival_waiting",
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(run=None) | Q(put_away_at=None), name="arrival_has_one_end"
            ),
            models.CheckConstraint(
                condition=Q(found_revision__lte=models.F("revision")),
                name="arrival_found_what_was_asked",
            ),
        ]

    def __str__(self) -> str:
        return self.file_name

    def get_absolute_url(self) -> str:
        """The page on which it is described."""
        return reverse("arrival", args=[self.id])

    @property
    def is_read(self) -> bool:
        """Whether what was found belongs to what is said now."""
        return self.found is not None and self.found_revision == self.revision

    @property
    def is_waiting(self) -> bool:
        """Whether it was neither handed in nor put away."""
        return self.run_id is None and self.put_away_at is None
