"""What was remarked about runs: flags, verdicts, and amendments as readers are told them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from typing import Any
from uuid import UUID

from django.db.models import Prefetch

from catalog.models import Port
from comparisons.packages.columns import Column
from comparisons.packages.declared.run_tables import OF_RUN, RUN
from comparisons.packages.scope import Scope
from comparisons.packages.site import Site, write_all
from comparisons.packages.tables import Cells, Row, Source, Table
from comparisons.packages.ucum import ucum_of
from measurements.actions import RunFacts, identity_of
from measurements.amendments import amendments_told
from measurements.kinds import all_metrics
from measurements.models import Amendment, Flag, Run, RunEvent, Verdict

_NUMBER = Column("number", "integer", "Place among those of the run.", required=True)
_OF_FLAG = ("code", "severity", "detail")
_OF_VERDICT = (
    *("scheme", "clause", "quantity", "condition_key", "condition", "limit", "sense", "value"),
    *("expanded_uncertainty", "margin", "outcome", "deviations"),
)
# Conditions of an amendment that name the adapter or something of it.
_COMMON = frozenset(
    {"adapter", "unit", "measured_at", "mains_v", "mains_hz", "ambient_c", "port"}
    | {"instruments", "note"}
)


def _flags(scope: Scope) -> Iterator[Cells]:
    numbers: Counter[UUID] = Counter()
    rows = Flag.objects.filter(run__in=scope.runs.order_by().values("pk"))
    for run_id, *said in rows.order_by("run", "pk").values_list("run", *_OF_FLAG).iterator():
        numbers[run_id] += 1
        yield run_id, numbers[run_id], *said


def _restore_flags(source: Source, _site: Site) -> None:
    write_all(
        Flag,
        (
            Flag(run_id=row["run"], **{name: row[name] for name in _OF_FLAG})
            for row in source.rows("flags")
        ),
    )


def _verdicts(scope: Scope) -> Iterator[Cells]:
    numbers: Counter[UUID] = Counter()
    metrics = all_metrics()
    rows = Verdict.objects.filter(run__in=scope.runs.order_by().values("pk"))
    for verdict in rows.order_by("run", "pk").iterator():
        numbers[verdict.run_id] += 1
        known = metrics.get(verdict.quantity)
        unit = ucum_of(known.unit) if known else None
        said = (getattr(verdict, name) for name in _OF_VERDICT)
        yield verdict.run_id, numbers[verdict.run_id], unit, *said


def _restore_verdicts(source: Source, _site: Site) -> None:
    write_all(
        Verdict,
        (
            Verdict(
                run_id=row["run"],
                **{name: row[name] for name in _OF_VERDICT if name != "condition_key"},
                condition_key=row["condition_key"] or "",
            )
            for row in source.rows("verdicts")
        ),
    )


def _amendments(scope: Scope) -> Iterator[Cells]:
    amended = scope.runs.filter(pk__in=Amendment.objects.values("run"))
    events = Prefetch("events", RunEvent.objects.filter(what="amended"))
    for run in amended.select_related("adapter").prefetch_related(events).iterator(chunk_size=100):
        for number, told in enumerate(amendments_told(run, viewer=None), start=1):
            said = told.amendment
            yield run.pk, number, said.at, said.reason, told.before, told.after


def _restore_amendments(source: Source, site: Site) -> None:
    of_runs: dict[UUID, list[Row]] = defaultdict(list)
    for row in source.rows("amendments"):
        of_runs[row["run"]].append(row)
    runs = Run.objects.filter(pk__in=of_runs).select_related("adapter", "unit", "port")
    for run in runs.prefetch_related("instruments"):
        rows, state = of_runs[run.pk], dict(run.conditions)
        identities = []
        for row in reversed(rows):
            state |= row["before"]
            identities.append(_identity(run, state, site=site))
        for row, identity in zip(rows, reversed(identities), strict=True):
            told = {name: row[name] for name in ("at", "reason", "before", "after")}
            Amendment.objects.create(run=run, identity=identity, **told)
            RunEvent.objects.create(run=run, at=row["at"], what="amended", detail=row["reason"])


def _identity(run: Run, state: Mapping[str, Any], *, site: Site) -> str:
    """The identity of the run under earlier conditions; none where an adapter is not shown."""
    names = state.get("instruments") or []
    if state.get("adapter") not in site.adapters or not set(names) <= site.instruments.keys():
        return ""
    adapter = type(run.adapter)(pk=site.adapters[state["adapter"]], slug=state["adapter"])
    facts = RunFacts(
        adapter=adapter,
        kind=run.kind,
        unit=state.get("unit") or "1",
        mains_v=state.get("mains_v"),
        mains_hz=state.get("mains_hz"),
        ambient_c=state.get("ambient_c"),
        port=Port(label=state["port"]) if state.get("port") else None,
        instruments=tuple(site.instruments[name] for name in names),
    )
    # A field that was not there before the amendment is told as none.
    fields = {
        name: value for name, value in state.items() if name not in _COMMON and value is not None
    }
    return identity_of(facts, run.raw_id, fields=fields)


FLAGS = Table(
    "flags",
    "Remarks of computations about runs",
    (
        RUN,
        _NUMBER,
        Column("code", "string", "Short name of the remark.", required=True),
        Column("severity", "string", "note or warning.", required=True),
        Column("detail", "string", "The remark as a sentence.", required=True),
    ),
    key=("run", "number"),
    rows=_flags,
    restore=_restore_flags,
    references=(OF_RUN,),
)
VERDICTS = Table(
    "verdicts",
    "Values against published limits: indications, never certifications",
    (
        RUN,
        _NUMBER,
        Column("unit", "string", "UCUM code of limit, value, uncertainty and margin."),
        Column("scheme", "string", "Scheme of limits.", required=True),
        Column("clause", "string", "Where the limit stands.", required=True),
        Column("quantity", "string", "Metric that is judged.", required=True),
        Column("condition_key", "string", "Condition as one text."),
        Column("condition", "object", "Condition by its parts.", required=True),
        Column("limit", "number", "The limit.", required=True),
        Column("sense", "string", "at most or at least.", required=True),
        Column("value", "number", "The value.", required=True),
        Column("expanded_uncertainty", "number", "U, k = 2.", required=True),
        Column("margin", "number", "Positive on the good side.", required=True),
        Column("outcome", "string", "pass, fail or undecided.", required=True),
        Column("deviations", "array", "Departures from the standard's method.", required=True),
    ),
    key=("run", "number"),
    rows=_verdicts,
    restore=_restore_verdicts,
    references=(OF_RUN,),
)
AMENDMENTS = Table(
    "amendments",
    "Corrections of what was said about files",
    (
        RUN,
        _NUMBER,
        Column("at", "datetime", "When it was corrected.", required=True),
        Column("reason", "string", "Why.", required=True),
        Column("before", "object", "What was said before; null: not shown.", required=True),
        Column("after", "object", "What is said since; null: not shown.", required=True),
    ),
    key=("run", "number"),
    rows=_amendments,
    restore=_restore_amendments,
    references=(OF_RUN,),
)
