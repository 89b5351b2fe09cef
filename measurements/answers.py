"""The shapes in which the bench answers, for the API's description."""

from __future__ import annotations

from rest_framework import serializers

from catalog.answers import FindingAnswer, ObjectAnswer, slug_field
from catalog.models import Port
from catalog.rest.calls import Answer
from measurements.kinds import all_kinds, all_metrics
from measurements.models import Attachment, Instrument, Run


def number() -> serializers.FloatField:
    """A number, or null where there is none."""
    return serializers.FloatField(allow_null=True)


def moment(*, allow_null: bool = False) -> serializers.DateTimeField:
    """A moment in UTC (RFC 3339)."""
    return serializers.DateTimeField(allow_null=allow_null)


def run_id(*, allow_null: bool = False) -> serializers.UUIDField:
    """A run's id."""
    return serializers.UUIDField(allow_null=allow_null)


def _hash() -> serializers.RegexField:
    return serializers.RegexField("^[0-9a-f]{64}$")


class ConditionAnswer(Answer):
    """Under which a value holds; only the parts that apply are there. V and %."""

    line = serializers.ChoiceField(["high", "low"], required=False)
    output_v = serializers.FloatField(required=False)
    load = serializers.CharField(required=False)
    load_percent = serializers.FloatField(required=False)
    device = serializers.CharField(required=False)
    sensor = serializers.CharField(required=False)
    port = serializers.CharField(required=False)


class MeasuredAnswer(Answer):
    """A computed value; `standard_uncertainty` (k = 1) is null where a table states none."""

    metric = serializers.CharField()
    value = serializers.FloatField()
    unit = serializers.CharField(allow_blank=True)
    standard_uncertainty = number()
    condition = ConditionAnswer()
    method = serializers.CharField()
    not_comparable = serializers.CharField(allow_null=True)


class SourcedAnswer(Answer):
    """Where a value comes from."""

    run = run_id(allow_null=True)
    source = serializers.ChoiceField(["run", "table", "catalogue"])  # type: ignore[assignment]
    table = serializers.UUIDField(allow_null=True)


class ValueAnswer(MeasuredAnswer, SourcedAnswer):
    """A value that stands, with its adapter and where it comes from."""

    adapter = slug_field()
    current_from = moment(allow_null=True)


class MetricAnswer(Answer):
    """A metric's declaration; `method` is the version that computes it today."""

    key = serializers.CharField()
    title = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)
    better = serializers.ChoiceField(["higher", "lower", ""])
    ranked = serializers.BooleanField()
    condition = serializers.ListField(child=serializers.CharField())
    definition = serializers.CharField()
    formula = serializers.CharField(allow_blank=True)
    source = serializers.CharField()  # type: ignore[assignment]  # a member of this name is meant
    source_key = serializers.CharField()
    method = serializers.CharField()
    decimals = serializers.IntegerField()


class InstrumentAnswer(Answer):
    """An instrument: ±(`reading_percent` % of the reading + `fixed`, in its quantity's unit)."""

    name = serializers.CharField()
    quantity = serializers.ChoiceField(Instrument.Quantity.values)
    reading_percent = serializers.FloatField()
    fixed = serializers.FloatField()
    calibrated_on = serializers.DateField(allow_null=True)
    calibration_due = serializers.DateField(allow_null=True)


class PortCapabilityAnswer(Answer):
    """An output with what a scan found it to advertise; `run` is that scan, or null."""

    label = serializers.CharField()  # type: ignore[assignment]  # a member of this name is meant
    connector = serializers.ChoiceField(Port.Connector.values)
    rated_power_w = number()
    objects = serializers.ListField(child=ObjectAnswer())
    protocols = serializers.ListField(child=slug_field())
    findings = serializers.ListField(child=FindingAnswer())
    run = run_id(allow_null=True)


class RunSummaryAnswer(Answer):
    """A run as lists and receipts show it."""

    id = run_id()
    adapter = slug_field()
    kind = serializers.ChoiceField([kind.slug for kind in all_kinds()])
    state = serializers.ChoiceField(Run.State.values)
    standing = serializers.ChoiceField(Run.Standing.values)
    raw_sha256 = _hash()
    file_name = serializers.CharField(allow_blank=True)
    unit = serializers.CharField()
    line = serializers.ChoiceField(["high", "low", ""])
    received_at = moment()


class FlagAnswer(Answer):
    """A remark that the computation made."""

    code = serializers.CharField()
    severity = serializers.ChoiceField(["note", "warning"])
    detail = serializers.CharField()


class FileProblemAnswer(Answer):
    """What is wrong with a file, and where: row and column, null where it is the whole."""

    row = serializers.IntegerField(allow_null=True)
    column = serializers.CharField(allow_null=True, allow_blank=True)
    detail = serializers.CharField()


class VerdictAnswer(Answer):
    """A value against a published limit: an indication, never a certification.

    `margin` is positive on the good side; `expanded_uncertainty` is U at k = 2.
    """

    scheme = serializers.CharField()
    clause = serializers.CharField()
    quantity = serializers.CharField()
    condition = ConditionAnswer()
    limit = serializers.FloatField()
    sense = serializers.ChoiceField(["at most", "at least"])
    value = serializers.FloatField()
    expanded_uncertainty = serializers.FloatField()
    margin = serializers.FloatField()
    outcome = serializers.ChoiceField(["pass", "fail", "undecided"])
    deviations = serializers.ListField(child=serializers.CharField())


class AmendmentAnswer(Answer):
    """A correction of what was said about a file, by the names of an upload."""

    at = moment()
    by = serializers.CharField(allow_null=True)
    reason = serializers.CharField()
    before = serializers.DictField()
    after = serializers.DictField()


class RunMetricAnswer(MeasuredAnswer):
    """A value of a run; `current` while readers are shown it."""

    current = serializers.BooleanField()


class RunAnswer(RunSummaryAnswer):
    """A run with everything that came of it. V, Hz and °C."""

    step = serializers.CharField(allow_blank=True)
    error = serializers.CharField(allow_blank=True)
    mains_v = number()
    mains_hz = number()
    ambient_c = number()
    port = serializers.CharField(allow_null=True)
    instruments = serializers.ListField(child=serializers.CharField())
    fields = serializers.DictField()  # type: ignore[assignment]  # a member of this name is meant
    note = serializers.CharField(allow_blank=True)
    measured_at = moment(allow_null=True)
    computed_at = moment(allow_null=True)
    accepted_at = moment(allow_null=True)
    withdrawn_at = moment(allow_null=True)
    withdrawn_reason = serializers.CharField(allow_blank=True)
    superseded_by = run_id(allow_null=True)
    amendments = serializers.ListField(child=AmendmentAnswer())
    reading_notes = serializers.ListField(child=serializers.CharField())
    flags = serializers.ListField(child=FlagAnswer())
    problems = serializers.ListField(child=FileProblemAnswer())
    problem_count = serializers.IntegerField(min_value=0)
    details = serializers.DictField()
    metrics = serializers.ListField(child=RunMetricAnswer())
    verdicts = serializers.ListField(child=VerdictAnswer())


class TraceAnswer(Answer):
    """The record of a run, thinned for drawing: columns of equal length, `x` names the abscissa."""

    id = run_id()
    x = serializers.CharField(allow_blank=True)
    columns = serializers.DictField(child=serializers.ListField(child=number()))


class LimitAnswer(Answer):
    """A published limit, worked out for one rating."""

    scheme = serializers.CharField()
    title = serializers.CharField()
    clause = serializers.CharField()
    quantity = serializers.ChoiceField(list(all_metrics()))
    row = serializers.CharField()
    sense = serializers.ChoiceField(["at most", "at least"])
    value = serializers.FloatField()
    unit = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]  # a member of this name is meant
    standing = serializers.CharField()
    note = serializers.CharField(allow_blank=True)


class ResultTableAnswer(Answer):
    """A table of results that were computed elsewhere, without raw records."""

    id = serializers.UUIDField()
    file_name = serializers.CharField(allow_blank=True)
    origin = serializers.CharField()
    standing = serializers.ChoiceField(["provisional", "accepted", "withdrawn"])
    received_at = moment()
    withdrawn_reason = serializers.CharField(allow_blank=True)
    raw_sha256 = _hash()
    rows_read = serializers.IntegerField(min_value=0)
    rows_refused = serializers.IntegerField(min_value=0)
    problems = serializers.ListField(child=FileProblemAnswer())


class ResultAnswer(ValueAnswer):
    """A result of a table, what became of it, and what was measured in its place, or null."""

    row = serializers.IntegerField()
    note = serializers.CharField(allow_blank=True)
    fate = serializers.CharField(allow_blank=True)
    measured = ValueAnswer(allow_null=True)


class WholeResultTableAnswer(ResultTableAnswer):
    """A table with its results."""

    results = serializers.ListField(child=ResultAnswer())


class AttachmentAnswer(Answer):
    """A picture or document; sizes in bytes and pixels are those of the file at `address`."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(Attachment.Kind.values)
    title = serializers.CharField()
    media_type = serializers.CharField()
    bytes = serializers.IntegerField(min_value=0)
    width = serializers.IntegerField(allow_null=True)
    height = serializers.IntegerField(allow_null=True)
    sha256 = _hash()
    added_at = moment()
    address = serializers.CharField()


class AddedAttachmentAnswer(AttachmentAnswer):
    """An attachment with what was noticed when it was taken in."""

    remarks = serializers.ListField(child=serializers.CharField())
