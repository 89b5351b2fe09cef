"""What was measured: instruments, raw files, runs, and the values computed from them.

A `Run` row is also its own place in the queue: state, lease, attempts and fence are columns,
so that the broker only has to ring a bell.
"""

from __future__ import annotations

import os
import time
import uuid
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any, Protocol, Self

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import Now
from django.urls import reverse
from django.utils import timezone

from catalog.models import Adapter, Port, Unit, Viewer, sees_unpublished
from measurements.kinds import get_kind
from measurements.kinds.base import Condition, Kind

HIGH_LINE_V = (180.0, 264.0)
LOW_LINE_V = (90.0, 132.0)


def line_of(mains_v: float | None) -> str:
    """``high`` for 180–264 V, ``low`` for 90–132 V, ``""`` for anything else or nothing."""
    if mains_v is None:
        return ""
    if HIGH_LINE_V[0] <= mains_v <= HIGH_LINE_V[1]:
        return "high"
    if LOW_LINE_V[0] <= mains_v <= LOW_LINE_V[1]:
        return "low"
    return ""


def new_run_id() -> uuid.UUID:
    """A UUID of version 7 (RFC 9562, 5.7): ordered by time, so that lists page by key."""
    milliseconds = time.time_ns() // 1_000_000
    value = (milliseconds & (2**48 - 1)) << 80 | int.from_bytes(os.urandom(10), "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return uuid.UUID(int=value)


class Instrument(models.Model):
    """A measuring instrument and the accuracy stated for one quantity of it."""

    class Quantity(models.TextChoices):
        """What an instrument measures; `fixed` is in the unit named here."""

        INPUT_POWER = "input_power", "input power (W)"
        OUTPUT_VOLTAGE = "output_voltage", "output voltage (V)"
        OUTPUT_CURRENT = "output_current", "output current (A)"
        TEMPERATURE = "temperature", "temperature (K)"
        RIPPLE = "ripple", "ripple (mV)"

    name = models.CharField(max_length=100, unique=True)
    quantity = models.CharField(max_length=20, choices=Quantity)
    reading_percent = models.FloatField("accuracy, % of reading")
    fixed = models.FloatField("accuracy, fixed part")
    calibrated_on = models.DateField("calibrated", null=True, blank=True)
    calibration_due = models.DateField("calibration due", null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(reading_percent__gte=0) & Q(fixed__gte=0),
                name="instrument_accuracy_not_negative",
                violation_error_message="Accuracy is stated as numbers that are not negative.",
            ),
            models.CheckConstraint(
                condition=Q(calibration_due=None) | Q(calibration_due__gte=F("calibrated_on")),
                name="instrument_due_after_calibration",
                violation_error_message="The calibration falls due after it was made.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class RawFile(models.Model):
    """A file as it came, kept for ever under its hash in the raw store."""

    sha256 = models.CharField(max_length=64, primary_key=True)
    size = models.BigIntegerField("size, bytes")
    stored_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(size__gte=0), name="raw_size_not_negative")
        ]

    def __str__(self) -> str:
        return self.sha256


class RunQuerySet(models.QuerySet["Run"]):
    """Filters over runs."""

    def visible_to(self, viewer: Viewer) -> Self:
        """Those this person may see: the public sees what was once accepted."""
        if sees_unpublished(viewer):
            return self
        published = Adapter.objects.visible_to(viewer)
        return self.filter(accepted_at__isnull=False, adapter__in=published)

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


class Stated(Protocol):
    """What a run and an upload say alike about a file."""

    @property
    def adapter(self) -> Adapter: ...
    @property
    def port(self) -> Port | None: ...
    @property
    def mains_v(self) -> float | None: ...
    @property
    def mains_hz(self) -> float | None: ...
    @property
    def ambient_c(self) -> float | None: ...
    @property
    def measured_at(self) -> datetime | None: ...
    @property
    def note(self) -> str: ...


def stated_conditions(
    stated: Stated, *, unit: str, instruments: Iterable[Instrument], fields: Mapping[str, Any]
) -> dict[str, Any]:
    """Conditions as plain JSON under the names of the upload fields."""
    moment = stated.measured_at
    return {
        "adapter": stated.adapter.slug,
        "unit": unit,
        "measured_at": moment.astimezone(UTC).isoformat() if moment else None,
        "mains_v": stated.mains_v,
        "mains_hz": stated.mains_hz,
        "ambient_c": stated.ambient_c,
        "port": stated.port.label if stated.port else None,
        "instruments": sorted(item.name for item in instruments),
        "note": stated.note,
        **fields,
    }


class ValueQuerySet(models.QuerySet["Value"]):
    """Filters over values."""

    def under_present_conditions(self) -> Self:
        """Those that no amendment of their run took back.

        An amendment closes whatever its run holds open, so a value that was closed by then
        belongs to conditions that are no longer the run's.
        """
        amended = Amendment.objects.filter(run=OuterRef("run"), at__gte=OuterRef("current_until"))
        return self.filter(~Exists(amended))

    def current(self) -> Self:
        """Those that stand today."""
        return self.filter(current_from__isnull=False, current_until__isnull=True)

    def as_of(self, moment: Any) -> Self:
        """Those that stood at `moment`."""
        return self.filter(
            Q(current_until=None) | Q(current_until__gt=moment), current_from__lte=moment
        )

    def visible_to(self, viewer: Viewer) -> Self:
        """Those of adapters that this person may know of."""
        if sees_unpublished(viewer):
            return self
        # Naming the few that are hidden spares a join over the many that are not.
        return self.exclude(adapter__in=Adapter.objects.embargoed().values("pk"))


class Value(models.Model):
    """A computed number as a fact in time.

    It belongs to readers from `current_from` until `current_until`; both empty means that it
    has not been accepted. `run` is empty for what follows from the catalogue alone. At most
    one comparable value of an adapter stands for a metric and condition at any moment, and
    beside it at most one that is set apart: a soak in a hot room takes no place from a good one.
    """

    adapter = models.ForeignKey(Adapter, on_delete=models.PROTECT, related_name="values")
    run = models.ForeignKey(
        Run, on_delete=models.PROTECT, null=True, blank=True, related_name="values"
    )
    metric = models.SlugField(max_length=40, db_index=False)
    condition_key = models.CharField(max_length=160, blank=True)
    line = models.CharField(max_length=4, blank=True)
    output_v = models.FloatField(null=True, blank=True)
    load = models.CharField(max_length=8, blank=True)
    load_percent = models.FloatField(null=True, blank=True)
    device = models.CharField(max_length=100, blank=True)
    sensor = models.CharField(max_length=60, blank=True)
    port = models.CharField(max_length=20, blank=True)
    value = models.FloatField()
    standard_uncertainty = models.FloatField()
    method = models.CharField(max_length=20)
    apart = models.TextField("not comparable because", blank=True)
    current_from = models.DateTimeField(null=True, blank=True)
    current_until = models.DateTimeField(null=True, blank=True)

    objects = ValueQuerySet.as_manager()

    class Meta:
        indexes = [
            # Holds all that a cohort needs, so that reading one touches no table row.
            models.Index(
                fields=["metric", "condition_key", "adapter", "value", "standard_uncertainty"],
                condition=Q(current_from__isnull=False, current_until=None, apart=""),
                name="value_cohort",
            ),
            models.Index(fields=["metric", "condition_key"], name="value_condition"),
            models.Index(
                fields=["metric", "condition_key"],
                condition=Q(current_from__isnull=False, current_until=None) & ~Q(apart=""),
                name="value_apart",
            ),
            models.Index(fields=["adapter", "metric"], name="value_adapter"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["adapter", "metric", "condition_key"],
                condition=Q(current_from__isnull=False, current_until=None, apart=""),
                name="value_one_comparable",
            ),
            models.UniqueConstraint(
                fields=["adapter", "metric", "condition_key"],
                condition=Q(current_from__isnull=False, current_until=None) & ~Q(apart=""),
                name="value_one_apart",
            ),
            models.UniqueConstraint(
                fields=["run", "metric", "condition_key"],
                condition=Q(current_until=None),
                name="value_one_open_per_run",
            ),
            models.CheckConstraint(
                condition=Q(standard_uncertainty__gte=0), name="value_uncertainty_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(current_until=None) | Q(current_until__gte=F("current_from")),
                name="value_interval_ordered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.metric} {self.condition_key} = {self.value:g}"

    @property
    def condition(self) -> Condition:
        """Under which it holds."""
        return Condition(
            line=self.line,
            output_v=self.output_v,
            load=self.load,
            load_percent=self.load_percent,
            device=self.device,
            sensor=self.sensor,
            port=self.port,
        )


class Ledger(models.Model):
    """One row: a random stamp that changes with everything that readers may be shown.

    Whoever remembers what was read remembers it under this stamp. It is random, not a
    count, so that a stamp which was rolled back never comes again.
    """

    stamp = models.UUIDField(default=uuid.uuid4)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="ledger_is_one_row")]

    def __str__(self) -> str:
        return str(self.stamp)

    @classmethod
    def turn(cls) -> None:
        """Put a new stamp on the ledger, as part of the present transaction."""
        cls.objects.update_or_create(pk=1, defaults={"stamp": uuid.uuid4()})

    @classmethod
    def read(cls) -> uuid.UUID:
        """The present stamp. One query."""
        stamp = cls.objects.filter(pk=1).values_list("stamp", flat=True).first()
        return stamp or uuid.UUID(int=0)


class Flag(models.Model):
    """A remark that the computation made about a run."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="flags")
    code = models.SlugField(max_length=40)
    severity = models.CharField(max_length=8)
    detail = models.TextField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(severity__in=["note", "warning"]), name="flag_severity_known"
            )
        ]

    def __str__(self) -> str:
        return self.code


class Verdict(models.Model):
    """A value of a run against one published limit: an indication, never a certification."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="verdicts")
    scheme = models.SlugField(max_length=40)
    clause = models.CharField(max_length=200)
    quantity = models.SlugField(max_length=40)
    condition_key = models.CharField(max_length=160, blank=True)
    condition = models.JSONField(default=dict)
    limit = models.FloatField()
    sense = models.CharField(max_length=8)
    value = models.FloatField()
    expanded_uncertainty = models.FloatField()
    margin = models.FloatField()
    outcome = models.CharField(max_length=10)
    deviations = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome__in=["pass", "fail", "undecided"]),
                name="verdict_outcome_known",
            ),
            models.CheckConstraint(
                condition=Q(sense__in=["at most", "at least"]), name="verdict_sense_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.scheme} {self.quantity}: {self.outcome}"


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
