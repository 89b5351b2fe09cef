"""What was computed from a run: values as facts in time, remarks, verdicts, and their ledger."""

from __future__ import annotations

import uuid
from typing import Any, Literal, Self

from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from catalog.models import Adapter, Viewer, sees_unpublished
from measurements.kinds.base import Condition
from measurements.models.runs import Amendment, Run
from measurements.models.tables import ResultTable

Source = Literal["run", "table", "catalogue"]


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

    def measured(self) -> Self:
        """Those of runs and of the catalogue, without the results that came by a table."""
        return self.filter(table=None)

    def of_tables(self) -> Self:
        """The results that came by a table, without a raw record."""
        return self.filter(table__isnull=False)

    def counted(self, *, tables: bool) -> Self:
        """Of all values that stand at one moment, those that count in rankings.

        Results of tables count only with `tables`, and where nothing measured stands.
        """
        measured = self.measured()
        if not tables:
            return measured
        further = self.of_tables().besides(measured)
        return self.filter(Q(table=None) | Q(pk__in=further.values("pk")))

    def besides(self, measured: ValueQuerySet) -> Self:
        """Those in whose place none of `measured` stands: same adapter, metric and condition."""
        place = measured.filter(
            adapter=OuterRef("adapter"),
            metric=OuterRef("metric"),
            condition_key=OuterRef("condition_key"),
        )
        return self.filter(~Exists(place))

    def visible_to(self, viewer: Viewer) -> Self:
        """Those of adapters that this person may know of."""
        if sees_unpublished(viewer):
            return self
        # Naming the few that are hidden spares a join over the many that are not.
        return self.exclude(adapter__in=Adapter.objects.embargoed().values("pk"))


class Value(models.Model):
    """A computed number as a fact in time.

    It belongs to readers from `current_from` until `current_until`; both empty means that it
    has not been accepted. `run` is empty for what follows from the catalogue alone, and for what
    came ready-made by a `table`. At most one comparable value of an adapter that was measured or
    follows from the catalogue stands for a metric and condition at any moment, and beside it at
    most one that is set apart (a soak in a hot room takes no place from a good one) and one of a
    table.
    """

    adapter = models.ForeignKey(Adapter, on_delete=models.PROTECT, related_name="values")
    run = models.ForeignKey(
        Run, on_delete=models.PROTECT, null=True, blank=True, related_name="values"
    )
    table = models.ForeignKey(
        ResultTable, on_delete=models.PROTECT, null=True, blank=True, related_name="values"
    )
    table_row = models.PositiveIntegerField("row of the table", null=True, blank=True)
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
    # False only where a table gave a result without one; what is stored then is 0.
    uncertainty_known = models.BooleanField(default=True)
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
                condition=Q(current_from__isnull=False, current_until=None, apart="", table=None),
                name="value_cohort",
            ),
            models.Index(
                fields=["metric", "condition_key", "adapter"],
                condition=Q(current_from__isnull=False, current_until=None, table__isnull=False),
                name="value_cohort_of_tables",
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
                condition=Q(current_from__isnull=False, current_until=None, apart="", table=None),
                name="value_one_comparable",
            ),
            models.UniqueConstraint(
                fields=["adapter", "metric", "condition_key"],
                condition=Q(current_from__isnull=False, current_until=None, table=None)
                & ~Q(apart=""),
                name="value_one_apart",
            ),
            models.UniqueConstraint(
                fields=["adapter", "metric", "condition_key"],
                condition=Q(current_from__isnull=False, current_until=None, table__isnull=False),
                name="value_one_of_a_table",
            ),
            models.CheckConstraint(
                condition=Q(run=None) | Q(table=None), name="value_of_a_run_or_a_table"
            ),
            models.CheckConstraint(
                condition=Q(uncertainty_known=True)
                | Q(table__isnull=False, standard_uncertainty=0.0),
                name="value_uncertainty_unknown_only_of_a_table",
            ),
            models.CheckConstraint(
                condition=Q(table=None, table_row=None)
                | Q(table__isnull=False, table_row__isnull=False),
                name="value_of_a_table_names_its_row",
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
    def stated_uncertainty(self) -> float | None:
        """Its standard uncertainty; None where a table did not give one."""
        return self.standard_uncertainty if self.uncertainty_known else None

    @property
    def source(self) -> Source:
        """Where it comes from: a run, a table, or the catalogue."""
        if self.table_id is not None:
            return "table"
        return "catalogue" if self.run_id is None else "run"

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
