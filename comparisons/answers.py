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
    """One adapter's place; `near_ties` may be fewer than `near_tie_count`.

    By its uncertainty and that of all others the rank lies from `rank_low` to `rank_high` in 95
    of 100 cases; null where no uncertainty is stated.
    """

    rank = serializers.IntegerField(min_value=1)
    rank_low = serializers.IntegerField(min_value=1, allow_null=True)
    rank_high = serializers.IntegerField(min_value=1, allow_null=True)
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
    """A column of a table; neighbours of one `group` stand under that heading."""

    slug = slug_field()
    maker = serializers.CharField()
    name = serializers.CharField()
    group = serializers.CharField(allow_blank=True, required=False)


class CellAnswer(SourcedAnswer):
    """A cell of a table; `apart` is why it is not comparable, or ""."""

    value = serializers.FloatField()
    standard_uncertainty = number()
    method = serializers.CharField()
    apart = serializers.CharField(allow_blank=True)
    best = serializers.BooleanField()


class RowAnswer(Answer):
    """A row of a table: a metric under a condition, a cell for each adapter or null.

    `remarks` are the numbers of the remarks on each cell, whether it has a value or not.
    """

    metric = serializers.CharField()
    section = serializers.CharField()
    title = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)
    better = serializers.ChoiceField(["higher", "lower", ""])
    decimals = serializers.IntegerField()
    condition = ConditionAnswer()
    cells = serializers.ListField(child=CellAnswer(allow_null=True))
    remarks = serializers.ListField(
        child=serializers.ListField(child=serializers.IntegerField(min_value=1)), required=False
    )


class MetricConditionsAnswer(Answer):
    """What narrows the rows of one metric, beside the conditions of the whole table."""

    metric = serializers.CharField()
    conditions = ConditionAnswer()


class CellNoteAnswer(Answer):
    """A remark on the cells of one adapter and one metric."""

    adapter = slug_field()
    metric = serializers.CharField()
    text = serializers.CharField()


class RemarkAnswer(CellNoteAnswer):
    """A remark with its number; the lines of the notes have the numbers before."""

    number = serializers.IntegerField(min_value=1)


class GroupAnswer(Answer):
    """The heading that the column of an adapter stands under."""

    adapter = slug_field()
    group = serializers.CharField()


class DepartureAnswer(Answer):
    """One way in which values of a row are not on one footing; cells are [row, column] from 0."""

    rule = serializers.CharField()
    sentence = serializers.CharField()
    cells = serializers.ListField(
        child=serializers.ListField(
            child=serializers.IntegerField(min_value=0), min_length=2, max_length=2
        )
    )


class DeparturesAnswer(Answer):
    """How many departures a table has, and the seal that says they were read; null for none."""

    count = serializers.IntegerField(min_value=0)
    seal = serializers.RegexField("^[0-9a-f]{16}$", allow_null=True)


class BlockLineAnswer(Answer):
    """A line of a drawing; `y` is null in a gap."""

    adapter = slug_field()
    name = serializers.CharField()
    mark = serializers.ChoiceField(["line", "line-point"])
    run = run_id()
    x = serializers.ListField(child=serializers.FloatField())
    y = serializers.ListField(child=serializers.FloatField(allow_null=True))


class BlockCellAnswer(Answer):
    """A number beside a drawing; U at k = 2, that of a difference as its overlay judges it."""

    value = serializers.FloatField()
    expanded_uncertainty = number()
    difference = number()
    expanded_of_difference = number()
    word = serializers.CharField(allow_blank=True)


class BlockRowAnswer(Answer):
    """A row of the table beside a drawing, a cell for each heading but the first."""

    title = serializers.CharField()
    decimals = serializers.IntegerField()
    cells = serializers.ListField(child=BlockCellAnswer(allow_null=True))


class BlockMatricesAnswer(Answer):
    """The matrices of one adapter's run."""

    adapter = slug_field()
    name = serializers.CharField()
    run = run_id()
    day = serializers.CharField()
    matrices = serializers.ListField(child=serializers.JSONField())


class BlockAnswer(Answer):
    """What stands beside the table: lines with the table of their numbers, or matrices."""

    key = serializers.CharField()
    kind = serializers.ChoiceField(["charges", "efficiency", "sharing"])
    title = serializers.CharField()
    x_title = serializers.CharField(required=False)
    y_title = serializers.CharField(required=False)
    lines = serializers.ListField(child=BlockLineAnswer(), required=False)
    caption = serializers.CharField(required=False)
    headings = serializers.ListField(child=serializers.CharField(), required=False)
    rows = serializers.ListField(child=BlockRowAnswer(), required=False)
    matrices = serializers.ListField(child=BlockMatricesAnswer(), required=False)
    notes = serializers.ListField(child=serializers.CharField())


class TableAnswer(Answer):
    """A table of adapters by metrics, with all that stands beside it; frozen once published.

    One that was frozen by an earlier release has fewer members. `departures_read` is whether
    whoever published it said to have read them.
    """

    coverage_factor = serializers.FloatField()
    adapters = serializers.ListField(child=ComparedAnswer())
    rows = serializers.ListField(child=RowAnswer())
    title = serializers.CharField(required=False)
    notes = serializers.CharField(required=False, allow_blank=True)
    published_at = serializers.DateTimeField(required=False)
    highlight_rule = serializers.CharField(required=False)
    conditions = ConditionAnswer(required=False)
    metric_conditions = serializers.ListField(child=MetricConditionsAnswer(), required=False)
    remarks = serializers.ListField(child=RemarkAnswer(), required=False)
    departures = serializers.ListField(child=DepartureAnswer(), required=False)
    departures_read = serializers.BooleanField(required=False)
    block_keys = serializers.ListField(child=serializers.CharField(), required=False)
    blocks = serializers.ListField(child=BlockAnswer(), required=False)


class ComparisonAnswer(ComparisonSummaryAnswer):
    """A comparison with its table: live for a draft, frozen once it is published."""

    adapters = serializers.ListField(child=slug_field())
    metrics = serializers.ListField(child=serializers.CharField())
    conditions = ConditionAnswer()
    notes = serializers.CharField(allow_blank=True)
    tables = serializers.ChoiceField(["in", "out"])
    metric_conditions = serializers.ListField(child=MetricConditionsAnswer())
    cell_notes = serializers.ListField(child=CellNoteAnswer())
    groups = serializers.ListField(child=GroupAnswer())
    blocks = serializers.ListField(child=serializers.CharField())
    revises = slug_field(allow_null=True)
    departures = DeparturesAnswer()
    table = TableAnswer()
