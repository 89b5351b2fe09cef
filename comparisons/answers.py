"""The shapes in which comparisons answer, for the API's description."""

from __future__ import annotations

from rest_framework import serializers

from catalog.answers import slug_field
from catalog.rest.calls import Answer
from comparisons.models import Comparison
from measurements.answers import (
    ConditionAnswer,
    MetricAnswer,
    SourcedAnswer,
    moment,
    number,
    run_id,
)


class CohortAnswer(Answer):
    """How many adapters are compared, their median and quartiles; null where there are none."""

    count = serializers.IntegerField(min_value=0)
    median = number()
    quartiles = serializers.ListField(
        child=serializers.FloatField(), min_length=3, max_length=3, allow_null=True
    )


class RankedAnswer(SourcedAnswer):
    """One adapter's place; `near_ties` may be fewer than `near_tie_count`."""

    rank = serializers.IntegerField(min_value=1)
    adapter = slug_field()
    value = serializers.FloatField()
    standard_uncertainty = number()
    percentile = serializers.FloatField(min_value=0, max_value=100)
    near_ties = serializers.ListField(child=slug_field())
    near_tie_count = serializers.IntegerField(min_value=0)
    method = serializers.CharField()


class ApartAnswer(Answer):
    """A value that stands but is not comparable, and why."""

    adapter = slug_field()
    value = serializers.FloatField()
    standard_uncertainty = number()
    reason = serializers.CharField()
    run = run_id(allow_null=True)


class RankingAnswer(Answer):
    """A page of a ranking, and what is true of the whole."""

    metric = MetricAnswer()
    condition = ConditionAnswer()
    cohort = CohortAnswer()
    results = serializers.ListField(child=RankedAnswer())
    not_comparable = serializers.ListField(child=ApartAnswer())
    of_tables = serializers.IntegerField(min_value=0)
    next = serializers.CharField(allow_null=True)


class PlacementAnswer(SourcedAnswer):
    """One place of an adapter; rank and percentile are null for what is not comparable."""

    metric = serializers.CharField()
    condition = ConditionAnswer()
    value = serializers.FloatField()
    unit = serializers.CharField(allow_blank=True)
    standard_uncertainty = number()
    rank = serializers.IntegerField(min_value=1, allow_null=True)
    count = serializers.IntegerField(min_value=0)
    percentile = serializers.FloatField(min_value=0, max_value=100, allow_null=True)
    near_tie_count = serializers.IntegerField(min_value=0)
    method = serializers.CharField()
    not_comparable = serializers.CharField(allow_null=True)


class ComparisonSummaryAnswer(Answer):
    """A comparison as lists show it; `hash` is that of the frozen table."""

    slug = slug_field()
    title = serializers.CharField()
    state = serializers.ChoiceField(Comparison.State.values)
    published_at = moment(allow_null=True)
    hash = serializers.RegexField("^[0-9a-f]{64}$", allow_null=True)


class ComparedAnswer(Answer):
    """A column of a table."""

    slug = slug_field()
    maker = serializers.CharField()
    name = serializers.CharField()


class CellAnswer(SourcedAnswer):
    """A cell of a table; `apart` is why it is not comparable, or ""."""

    value = serializers.FloatField()
    standard_uncertainty = number()
    method = serializers.CharField()
    apart = serializers.CharField(allow_blank=True)
    best = serializers.BooleanField()


class RowAnswer(Answer):
    """A row of a table: a metric under a condition, a cell for each adapter or null."""

    metric = serializers.CharField()
    section = serializers.CharField()
    title = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)
    better = serializers.ChoiceField(["higher", "lower", ""])
    decimals = serializers.IntegerField()
    condition = ConditionAnswer()
    cells = serializers.ListField(child=CellAnswer(allow_null=True))


class TableAnswer(Answer):
    """A table of adapters by metrics; a frozen one also keeps title, notes and time."""

    coverage_factor = serializers.FloatField()
    adapters = serializers.ListField(child=ComparedAnswer())
    rows = serializers.ListField(child=RowAnswer())
    title = serializers.CharField(required=False)
    notes = serializers.CharField(required=False, allow_blank=True)
    published_at = serializers.DateTimeField(required=False)


class ComparisonAnswer(ComparisonSummaryAnswer):
    """A comparison with its table: live for a draft, frozen once it is published."""

    adapters = serializers.ListField(child=slug_field())
    metrics = serializers.ListField(child=serializers.CharField())
    conditions = ConditionAnswer()
    notes = serializers.CharField(allow_blank=True)
    tables = serializers.ChoiceField(["in", "out"])
    revises = slug_field(allow_null=True)
    table = TableAnswer()
