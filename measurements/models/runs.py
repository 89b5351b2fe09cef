"""Runs: one measurement of one unit by one method, and its way from file to values.

A `Run` row is also its own place in the queue: state, lease, attempts and fence are columns,
so that the broker only has to ring a bell.
"""

from __future__ import annotations

import os
import time
import uuid
from datetime import datetime
from typing import Any, Self

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse
from django.utils import timezone

from catalog.models import Adapter, Port, Unit, Viewer, sees_unpublished
from measurements.kinds import get_kind
from measurements.kinds.base import Kind
from measurements.models.bench import HIGH_LINE_V, LOW_LINE_V, Instrument, RawFile
from measurements.models.conditions import stated_conditions


def new_run_id() -> uuid.UUID:
    """A UUID of version 7 (RFC 9562, 5.7): ordered by time, so that lists page by key."""
    milliseconds = time.time_ns() // 1_000_000
    value = (milliseconds & (2**48 - 1)) << 80 | int.from_bytes(os.urandom(10), "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return uuid.UUID(int=value)


class RunQuerySet(models.QuerySet["Run"]):
    """Filters over runs."""

    def visible_to(self, viewer: Viewer) -> Self:
        """Those this person may see: the public sees what was once accepted."""
        if sees_unpublished(viewer):
            return self
        published = Adapter.objects.visible_to(viewer)
        return self.filter(accepted_at__isnull=False, adapter__in=published)

    def touched_since(self, moment: datetime) -> Self:
        """Those with which anything happened since `moment`.

        A computation counts, and that their adapter came out of embargo.
        """
        events = RunEvent.objects.filter(run=models.OuterRef("pk"), at__gte=moment)
        out = Adapter.objects.come_out_since(moment).values("pk")
        return self.filter(Q(computed_at__gte=moment) | Q(adapter__in=out) | models.Exists(events))

    def due(self) -> Self:
        """Those that wait for a worker, or whose worker has fallen silent."""
        return self.filter(
            Q(state=Run.State.RECEIVED, due_at__lte=Now())
            | Q(state=Run.State.COMPUTING, lease_until__lt=Now())
        )

    def unfinished(self) -> Self:
        """Those that will still change without a person's help."""
        return self.filter(state__in=[Run.State.RECEIVED, Run.State.COMPUTING])


class Run(models.Model):
    """One measurement of one unit by one method, and its way from file to values."""

    class State(models.TextChoices):
        """How far the computation is."""

        RECEIVED = "received", "received"
        COMPUTING = "computing", "computing"
        READY = "ready", "ready"
        REJECTED = "rejected", "rejected"
        SET_ASIDE = "set-aside", "set aside"

    class Standing(models.TextChoices):
        """What the bench holds of it."""

        PROVISIONAL = "provisional", "provisional"
        ACCEPTED = "accepted", "accepted"
        SUPERSEDED = "superseded", "superseded"
        WITHDRAWN = "withdrawn", "withdrawn"

    id = models.UUIDField(primary_key=True, default=new_run_id, editable=False)
    adapter = models.ForeignKey(Adapter, on_delete=models.PROTECT, related_name="runs")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="runs")
    # No choices: a kind is valid when its folder exists, and adding one needs no migration.
    kind = models.SlugField(max_length=40)
    raw = models.ForeignKey(RawFile, on_delete=models.PROTECT, related_name="runs")
    file_name = models.CharField(max_length=255)
    identity = models.CharField(max_length=64, editable=False)

    mains_v = models.FloatField("mains voltage, V", null=True, blank=True)
    mains_hz = models.FloatField("mains frequency, Hz", null=True, blank=True)
    line = models.CharField(max_length=4, blank=True)
    ambient_c = models.FloatField("ambient temperature, °C", null=True, blank=True)
    port = models.ForeignKey(Port, on_delete=models.PROTECT, null=True, blank=True)
    instruments = models.ManyToManyField(Instrument, blank=True, related_name="runs")
    method_fields = models.JSONField(default=dict, blank=True)
    measured_at = models.DateTimeField("measured", null=True, blank=True)
    note = models.TextField(blank=True)
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )

    state = models.CharField(max_length=10, choices=State, default=State.RECEIVED)
    step = models.CharField(max_length=40, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    fence = models.PositiveIntegerField(default=0)
    attempts = models.PositiveSmallIntegerField(default=0)
    due_at = models.DateTimeField(default=timezone.now)
    rung_at = models.DateTimeField(null=True, blank=True)
    computed_at = models.DateTimeField(null=True, blank=True)
    error = models.TextField(blank=True)
    problems = models.JSONField(default=list, blank=True)
    problem_count = models.PositiveIntegerField(default=0)
    # The map of the bench by which its columns were read, if one was needed.
    column_map = models.ForeignKey(
        "ColumnMap", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    reading_notes = models.JSONField(default=list, blank=True)
    trace = models.JSONField(null=True, blank=True)
    plot = models.JSONField(null=True, blank=True)
    # What the kind keeps beside its values, as `kinds.base.Details` written out.
    details = models.JSONField(default=dict, blank=True)

    standing = models.CharField(max_length=12, choices=Standing, default=Standing.PROVISIONAL)
    accepted_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.TextField(blank=True)
    superseded_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="supersedes"
    )

    objects = RunQuerySet.as_manager()

    class Meta:
        permissions = [
            ("receive_run", "Can upload runs"),
            ("accept_run", "Can accept and withdraw runs"),
        ]
        indexes = [
            models.Index(fields=["adapter", "kind", "line"]),
            models.Index(
                fields=["due_at"],
                condition=Q(state__in=["received", "computing"]),
                name="run_unfinished",
            ),
            models.Index(fields=["accepted_at"]),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["identity"],
                condition=~Q(standing="withdrawn"),
                name="run_once_for_its_file_and_condition",
            ),
            models.CheckConstraint(
                condition=Q(line="", mains_v=None)
                | Q(line="high", mains_v__gte=HIGH_LINE_V[0], mains_v__lte=HIGH_LINE_V[1])
                | Q(line="low", mains_v__gte=LOW_LINE_V[0], mains_v__lte=LOW_LINE_V[1]),
                name="run_line_follows_mains",
            ),
            models.CheckConstraint(
                condition=Q(state="computing", lease_until__isnull=False)
                | (~Q(state="computing") & Q(lease_until=None)),
                name="run_lease_only_while_computing",
            ),
            models.CheckConstraint(
                condition=(
                    Q(standing="withdrawn", withdrawn_at__isnull=False) & ~Q(withdrawn_reason="")
                )
                | (~Q(standing="withdrawn") & Q(withdrawn_at=None, withdrawn_reason="")),
                name="run_withdrawn_with_reason",
            ),
            models.CheckConstraint(
                condition=~Q(standing__in=["accepted", "superseded"])
                | Q(accepted_at__isnull=False),
                name="run_accepted_has_time",
            ),
            models.CheckConstraint(
                condition=Q(standing="superseded", superseded_by__isnull=False)
                | ~Q(standing="superseded"),
                name="run_superseded_names_successor",
            ),
            models.CheckConstraint(
                condition=Q(standing="provisional", accepted_at=None) | ~Q(standing="provisional"),
                name="run_provisional_not_accepted",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} run {self.id}"

    def get_absolute_url(self) -> str:
        """The run's page."""
        return reverse("run", args=[self.id])

    @property
    def declared_kind(self) -> Kind:
        """The declaration of its kind."""
        return get_kind(self.kind)

    @property
    def is_finished(self) -> bool:
        """Whether nothing more will happen to it without a person."""
        return self.state not in (self.State.RECEIVED, self.State.COMPUTING)

    @property
    def is_public(self) -> bool:
        """Whether its file and values have been open to readers (adapter permitting)."""
        return self.accepted_at is not None

    def may_be_judged_by(self, person: Viewer) -> bool:
        """Whether this person may accept or withdraw it.

        Editors may; a reviewer may for own runs where the site allows it.
        """
        if not isinstance(person, AbstractUser):
            return False
        if person.has_perm("measurements.accept_run"):
            return True
        return (
            settings.REVIEWERS_ACCEPT_OWN_RUNS
            and self.received_by_id == person.pk
            and person.has_perm("measurements.receive_run")
        )

    def may_be_amended_by(self, person: Viewer) -> bool:
        """Whether this person may correct what was said about its file.

        Whoever may judge it; while it is provisional also its uploader.
        """
        if self.may_be_judged_by(person):
            return True
        return (
            isinstance(person, AbstractUser)
            and self.standing == self.Standing.PROVISIONAL
            and self.received_by_id == person.pk
            and person.has_perm("measurements.receive_run")
        )

    @property
    def conditions(self) -> dict[str, Any]:
        """What was said about its file, as plain JSON under the names of the upload fields."""
        return stated_conditions(
            self,
            unit=self.unit.serial,
            instruments=self.instruments.all(),
            fields=self.method_fields,
        )


class RunEvent(models.Model):
    """What happened to a run, when, by whom and why. Rows are only ever added."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="events")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    what = models.CharField(max_length=20)
    detail = models.TextField(blank=True)

    def __str__(self) -> str:
        return f"{self.what} {self.at:%Y-%m-%d %H:%M}"


class Amendment(models.Model):
    """A correction of what was said about a run's file: who, when, why, from what to what.

    Rows are only ever added. `before` and `after` hold the conditions that changed, as
    `Run.conditions` names them; `identity` is the one that the run had before.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="amendments")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    reason = models.TextField()
    before = models.JSONField()
    after = models.JSONField()
    identity = models.CharField(max_length=64, db_index=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="amendment_has_reason"),
        ]

    def __str__(self) -> str:
        return f"amended {self.at:%Y-%m-%d %H:%M}"
