"""Columns and rows of the tables of runs: what an upload says, and what became of it."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Count

from comparisons.packages.columns import Column, Type
from comparisons.packages.declared.catalogue import OF_ADAPTER
from comparisons.packages.declared.site_wide import id_of_map
from comparisons.packages.scope import Scope
from comparisons.packages.tables import Cells, Reference, Table
from measurements.kinds import all_kinds
from measurements.kinds.base import Field
from measurements.models import Flag, Run

OF_RUN = Reference(("run",), "runs", ("id",))
RUN = Column("run", "string", "Id of the run.", required=True, format="uuid")
SHA256 = Column("sha256", "string", "SHA-256 of the bytes, hexadecimal.", required=True)
OF_FILE = Reference(("sha256",), "files", ("sha256",))

_TYPES: dict[str, Type] = {"number": "number", "json": "object"}
_CONDITIONS = ("mains_v", "mains_hz", "ambient_c")
_RECORD = ("received_at", "state", "computed_at", "standing", "accepted_at")
_WITHDRAWN = ("withdrawn_at", "withdrawn_reason")


def _method_columns() -> tuple[Column, ...]:
    declared: dict[str, Field] = {}
    for kind in all_kinds():
        for field in kind.fields:
            declared.setdefault(field.name, field)
    return tuple(
        Column(
            name,
            _TYPES.get(field.type, "string"),
            f"Field of the method: {field.title}.",
            unit=field.unit or None if field.type == "number" else None,
        )
        for name, field in sorted(declared.items())
    )


METHOD_COLUMNS = _method_columns()


def _files(scope: Scope) -> Iterator[Cells]:
    yield from scope.files.values_list("sha256", "size", "stored_at").iterator()


def _runs(scope: Scope) -> Iterator[Cells]:
    rows = (
        scope.runs.select_related("adapter", "unit", "port")
        .defer("trace", "plot", "details", "problems")
        .prefetch_related("instruments")
    )
    for run in rows.iterator(chunk_size=500):
        names = sorted(item.name for item in run.instruments.all())
        yield (
            run.pk,
            run.adapter.slug,
            run.kind,
            scope.raw_paths.get(run.raw_id),
            run.unit.serial,
            run.measured_at,
            *(getattr(run, name) for name in _CONDITIONS),
            run.port.label if run.port else None,
            ";".join(names),
            run.note,
            *(run.method_fields.get(column.name) for column in METHOD_COLUMNS),
        )


def _run_instruments(scope: Scope) -> Iterator[Cells]:
    through = Run.instruments.through._default_manager
    rows = through.filter(run__in=scope.runs.order_by().values("pk"))
    yield from rows.order_by("run", "instrument__name").values_list("run", "instrument__name")


def _state(run: Run) -> str:
    """How far the computation is; a worker that has it now is a matter of that site."""
    return str(Run.State.RECEIVED if run.state == Run.State.COMPUTING else run.state)


def _records(scope: Scope) -> Iterator[Cells]:
    exported = Flag.objects.filter(run__in=scope.runs.order_by().values("pk"))
    flags = dict(exported.order_by().values_list("run").annotate(Count("pk")))
    rows = scope.runs.select_related("column_map").defer("trace", "plot", "details")
    for run in rows.iterator(chunk_size=500):
        successor = run.superseded_by_id
        shown = successor if successor in scope.run_ids and successor != run.pk else None
        yield (
            run.pk,
            run.file_name,
            run.raw_id,
            run.received_at,
            _state(run),
            *(getattr(run, name) for name in _RECORD[2:]),
            shown,
            *(getattr(run, name) for name in _WITHDRAWN),
            flags.get(run.pk, 0),
            run.problem_count,
            run.problems,
            id_of_map(run.column_map) if run.column_map else None,
            run.method_fields,
            run.reading_notes,
        )


def _details(scope: Scope) -> Iterator[Cells]:
    rows = scope.runs.values_list("pk", "plot", "details", "trace")
    yield from rows.iterator(chunk_size=50)


FILES = Table(
    "files",
    "Files that runs, tables of results and attachments came as",
    (
        SHA256,
        Column("size", "integer", "Size.", required=True, unit="byte"),
        Column("stored_at", "datetime", "When it came.", required=True),
    ),
    key=("sha256",),
    rows=_files,
)
RUNS = Table(
    "runs",
    "Runs, as they were handed in",
    (
        Column("id", "string", "Id of the run.", required=True, format="uuid"),
        Column("adapter", "string", "Slug of the adapter.", required=True),
        Column("kind", "string", "Kind of run.", required=True),
        Column("file", "string", "Its raw file in this package; empty: left out."),
        Column("unit", "string", "Serial of the sample.", required=True),
        Column("measured_at", "datetime", "When it was measured."),
        Column("mains_v", "number", "Mains voltage.", unit="V"),
        Column("mains_hz", "number", "Mains frequency.", unit="Hz"),
        Column("ambient_c", "number", "Ambient temperature.", unit="°C"),
        Column("port", "string", "Label of the port."),
        Column("instruments", "string", "Names of instruments, parted by semicolons."),
        Column("note", "string", "A remark."),
        *METHOD_COLUMNS,
    ),
    key=("id",),
    rows=_runs,
    references=(OF_ADAPTER, Reference(("adapter", "unit"), "units", ("adapter", "serial"))),
)
RUN_INSTRUMENTS = Table(
    "run_instruments",
    "Instruments of runs, one row each",
    (RUN, Column("instrument", "string", "Name of the instrument.", required=True)),
    key=("run", "instrument"),
    rows=_run_instruments,
    references=(OF_RUN, Reference(("instrument",), "instruments", ("name",))),
)
RECORDS = Table(
    "records",
    "What became of each run",
    (
        RUN,
        Column("file_name", "string", "What the sender called its file."),
        SHA256,
        Column("received_at", "datetime", "When it came.", required=True),
        Column("state", "string", "How far it is computed.", required=True),
        Column("computed_at", "datetime", "When it was last computed."),
        Column("standing", "string", "accepted, superseded or withdrawn.", required=True),
        Column("accepted_at", "datetime", "When its values began to stand.", required=True),
        Column("superseded_by", "string", "Run that replaced it, if shown.", format="uuid"),
        Column("withdrawn_at", "datetime", "When it was withdrawn."),
        Column("withdrawn_reason", "string", "Why it was withdrawn."),
        Column("flag_count", "integer", "Number of remarks.", required=True),
        Column("problem_count", "integer", "Number of problems of its file.", required=True),
        Column("problems", "array", "The first of them: row, column, detail.", required=True),
        Column("column_map", "string", "Column map by which it was read."),
        Column("method_fields", "object", "Fields of the method, as typed.", required=True),
        Column("reading_notes", "array", "How the file was read, in words.", required=True),
    ),
    key=("run",),
    rows=_records,
    references=(
        OF_RUN,
        OF_FILE,
        Reference(("column_map",), "column_maps", ("id",)),
        Reference(("superseded_by",), "runs", ("id",)),
    ),
)
DETAILS = Table(
    "details",
    "What each run gives beside its values",
    (
        RUN,
        Column("plot", "object", "Declaration of its chart."),
        Column("details", "object", "Facts, listings and matrices.", required=True),
        Column("trace", "object", "Thinned record: column by name, null for a gap."),
    ),
    key=("run",),
    rows=_details,
    references=(OF_RUN,),
)
