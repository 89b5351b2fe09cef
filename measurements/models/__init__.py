"""What was measured: instruments, raw files, runs, and the values computed from them."""

from measurements.models.arrivals import Arrival, ColumnMap, FileNamePattern
from measurements.models.attachments import Attachment
from measurements.models.bench import (
    HIGH_LINE_V,
    LOW_LINE_V,
    Instrument,
    RawFile,
    line_of,
)
from measurements.models.conditions import Stated, stated_conditions
from measurements.models.runs import Amendment, Run, RunEvent, RunQuerySet, new_run_id
from measurements.models.tables import ResultTable
from measurements.models.values import Flag, Ledger, Source, Value, ValueQuerySet, Verdict

__all__ = [
    "HIGH_LINE_V",
    "LOW_LINE_V",
    "Amendment",
    "Arrival",
    "Attachment",
    "ColumnMap",
    "FileNamePattern",
    "Flag",
    "Instrument",
    "Ledger",
    "RawFile",
    "ResultTable",
    "Run",
    "RunEvent",
    "RunQuerySet",
    "Source",
    "Stated",
    "Value",
    "ValueQuerySet",
    "Verdict",
    "line_of",
    "new_run_id",
    "stated_conditions",
]
