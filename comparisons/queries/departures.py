"""Where the values of one row of a comparison were not got under like conditions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal
from uuid import UUID

from django.db.models import Count

from catalog.models import Adapter, Port
from comparisons.queries.charge_runs import moment_of
from comparisons.queries.tables import Cell, Table, TableRow
from measurements.kinds import get_kind
from measurements.kinds.base import Condition, Field
from measurements.kinds.instruments import listed
from measurements.models import Run
from measurements.queries import condition_in_words
from measurements.standards.iec_62301_2011 import METHOD_230_V

Rule = Literal[
    "condition",
    "set-apart",
    "method",
    "source",
    "mains",
    "ambient",
    "port",
    "setup",
    "flag",
    "units",
    "age",
]

# Two runs that both keep to the conditions of IEC 62301:2011, voltage and frequency within ±1 %,
# room at (23 ± 5) °C, may lie this far apart. [%], [K]
MAINS_SPREAD_PERCENT = 2 * METHOD_230_V.mains_tolerance_percent
AMBIENT_SPREAD_K = 2 * METHOD_230_V.ambient_tolerance_k
# Temperatures of surfaces follow the room: two soaks at 25 ± 2 °C, the bench's own range. [K]
SOAK_AMBIENT_SPREAD_K = 4.0
# Common practice: an instrument is calibrated once a year, so more lies between two results.
AGE_SPREAD = timedelta(days=366)

# A binary fraction may lie a hair beyond a limit that its decimals just keep.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Departure:
    """One way in which values of a row, or of several rows alike, are not on one footing.

    `cells` are places in the table, each as row and column from 0.
    """

    rule: Rule
    sentence: str
    cells: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class _Found:
    rule: Rule
    detail: str
    columns: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Entry:
    """A filled cell of a row: its column, the adapter's name, its run where there is one."""

    column: int
    name: str
    cell: Cell
    run: Run | None


@dataclass(frozen=True, slots=True)
class _Quantity:
    """A condition that runs state as a number; `step` is the unit of its differences."""

    rule: Rule
    name: str
    unit: str
    step: str
    of: Callable[[Run], float | None]


_MAINS_VOLTAGE = _Quantity("mains", "mains voltage", "V", "V", lambda run: run.mains_v)
_MAINS_FREQUENCY = _Quantity("mains", "mains frequency", "Hz", "Hz", lambda run: run.mains_hz)
_AMBIENT = _Quantity("ambient", "ambient temperature", "°C", "K", lambda run: run.ambient_c)


def departures(table: Table) -> tuple[Departure, ...]:
    """Every departure of the table, each as a sentence that names its cells. Three queries.

    What holds of several rows in the same words is said once.
    """
    runs = _runs_of(table)
    units = _units_tested(table)
    gathered: dict[tuple[Rule, str], list[tuple[int, _Found]]] = {}
    for position, row in enumerate(table.rows):
        entries = [
            _Entry(column, str(table.adapters[column]), cell, runs.get(cell.run_id or UUID(int=0)))
            for column, cell in enumerate(row.cells)
            if cell is not None
        ]
        for found in (
            *_of_row(row, entries),
            *_unit_counts(entries, adapters=table.adapters, units=units),
        ):
            gathered.setdefault((found.rule, found.detail), []).append((position, found))
    said = [
        Departure(
            rule,
            f"{_rows_in_words([table.rows[at] for at, _ in places])}: {detail}",
            tuple((at, column) for at, found in places for column in found.columns),
        )
        for (rule, detail), places in gathered.items()
    ]
    return (*_without_common_condition(table), *said)


def _runs_of(table: Table) -> Mapping[UUID, Run]:
    ids = {cell.run_id for row in table.rows for cell in row.cells if cell and cell.run_id}
    found = (
        Run.objects.filter(pk__in=ids)
        .select_related("port")
        .only(
            *("kind", "mains_v", "mains_hz", "line", "ambient_c", "method_fields"),
            *("measured_at", "received_at", "port__connector"),
        )
        .prefetch_related("flags")
    )
    return {run.pk: run for run in found}


def _units_tested(table: Table) -> Mapping[tuple[int, str], int]:
    """How many units of an adapter were measured by a kind in runs that were accepted."""
    rows = (
        Run.objects.filter(
            adapter__in=[adapter.pk for adapter in table.adapters],
            state=Run.State.READY,
            standing__in=[Run.Standing.ACCEPTED, Run.Standing.SUPERSEDED],
        )
        .values("adapter_id", "kind")
        .annotate(count=Count("unit", distinct=True))
        .order_by()
    )
    return {(row["adapter_id"], row["kind"]): row["count"] for row in rows}


def _of_row(row: TableRow, entries: Sequence[_Entry]) -> Iterator[_Found]:
    for entry in entries:
        if entry.cell.apart:
            reason = entry.cell.apart.rstrip(".")
            yield _Found("set-apart", f"{entry.name} is set apart: {reason}.", (entry.column,))
    if len(entries) < 2:
        return
    # What came by a table was computed elsewhere, by no method of this bench.
    yield from _odd_ones(
        [entry for entry in entries if entry.cell.source != "table"],
        "method",
        of=lambda entry: entry.cell.method,
        say=lambda names, what, usual: f"{names} computed by method {what}, the others by {usual}.",
        verb=("is", "are"),
    )
    yield from _odd_ones(
        entries,
        "source",
        of=lambda entry: "a table" if entry.cell.source == "table" else "",
        say=lambda names, what, _usual: (
            f"{names} from a table of results without a raw record, the others measured here."
            if what
            else f"{names} measured here, the others from a table of results without a raw record."
        ),
        verb=("is", "are"),
    )
    with_runs = [entry for entry in entries if entry.run is not None]
    if len(with_runs) < 2:
        return
    if row.condition.line:
        for quantity in (_MAINS_VOLTAGE, _MAINS_FREQUENCY):
            yield from _spread(with_runs, quantity, tolerance=_mains_tolerance)
    else:
        yield from _measured_otherwise(
            with_runs, "mains", of=lambda run: run.line and f"at {_line_in_words(run.line)}"
        )
    if not row.condition.port:
        yield from _measured_otherwise(with_runs, "port", of=_connector_in_words)
    yield from _setups(with_runs)
    soak = any(entry.run is not None and entry.run.kind == "thermal" for entry in with_runs)
    kelvin = SOAK_AMBIENT_SPREAD_K if soak else AMBIENT_SPREAD_K
    yield from _spread(with_runs, _AMBIENT, tolerance=lambda _values: kelvin)
    yield from _flags(with_runs)
    yield from _ages(with_runs)


def _odd_ones(
    entries: Sequence[_Entry],
    rule: Rule,
    *,
    of: Callable[[_Entry], str],
    say: Callable[[str, str, str], str],
    verb: tuple[str, str],
) -> Iterator[_Found]:
    """Those that differ from the most frequent; of equally frequent ones, from the first."""
    counts = Counter(of(entry) for entry in entries)
    if len(counts) < 2:
        return
    usual = counts.most_common(1)[0][0]
    for what in counts:
        if what != usual:
            odd = [entry for entry in entries if of(entry) == what]
            names = f"{listed(entry.name for entry in odd)} {verb[len(odd) > 1]}"
            yield _Found(rule, say(names, what, usual), tuple(entry.column for entry in odd))


def _measured_otherwise(
    entries: Sequence[_Entry], rule: Rule, *, of: Callable[[Run], str]
) -> Iterator[_Found]:
    """Runs that were measured in another way than most, among those of which it is known."""
    known = {
        entry.column: words
        for entry in entries
        if entry.run is not None and (words := of(entry.run))
    }
    yield from _odd_ones(
        [entry for entry in entries if entry.column in known],
        rule,
        of=lambda entry: known[entry.column],
        say=lambda names, what, usual: f"{names} measured {what}, the others {usual}.",
        verb=("was", "were"),
    )


def _line_in_words(line: str) -> str:
    return condition_in_words(Condition(line=line))


def _connector_in_words(run: Run) -> str:
    return "" if run.port is None else f"at a {Port.Connector(run.port.connector).label} port"


def _setups(entries: Sequence[_Entry]) -> Iterator[_Found]:
    """What the kind of the runs asks to be alike in them and is not."""
    kinds = {entry.run.kind for entry in entries if entry.run is not None}
    for field in (
        field for kind in sorted(kinds) for field in get_kind(kind).fields if field.alike
    ):

        def stated(run: Run, field: Field = field) -> str:
            said = run.method_fields.get(field.name)
            if said in (None, ""):
                return f"with {field.title.lower()} not stated"
            number = f"{said:g}" if isinstance(said, float) else str(said)
            return f"with {field.title.lower()} {number} {field.unit}".rstrip()

        yield from _measured_otherwise(entries, "setup", of=stated)


def _mains_tolerance(values: Sequence[float]) -> float:
    return MAINS_SPREAD_PERCENT / 100 * sum(values) / len(values)


def _spread(
    entries: Sequence[_Entry],
    quantity: _Quantity,
    *,
    tolerance: Callable[[Sequence[float]], float],
) -> Iterator[_Found]:
    """A stated condition that ranges too far, or is stated for some of the runs only."""
    stated = [
        (value, entry)
        for entry in entries
        if entry.run is not None and (value := quantity.of(entry.run)) is not None
    ]
    there = {entry.column for _, entry in stated}
    missing = [entry for entry in entries if entry.column not in there]
    if stated and missing:
        names = listed(entry.name for entry in missing)
        yield _Found(
            quantity.rule,
            f"{quantity.name} is not stated for {names}, though it is for the others.",
            tuple(entry.column for entry in missing),
        )
    if len(stated) < 2:
        return
    low, high = min(stated, key=lambda pair: pair[0]), max(stated, key=lambda pair: pair[0])
    allowed = tolerance([value for value, _ in stated])
    if high[0] - low[0] > allowed * (1 + _ROUNDING):
        yield _Found(
            quantity.rule,
            f"{quantity.name} ranges from {low[0]:g} {quantity.unit} ({low[1].name}) to "
            f"{high[0]:g} {quantity.unit} ({high[1].name}), more than {allowed:.3g} "
            f"{quantity.step} apart.",
            (low[1].column, high[1].column),
        )


def _flags(entries: Sequence[_Entry]) -> Iterator[_Found]:
    """Remarks that the computation made about some of the runs and not about all."""
    remarks: dict[str, list[tuple[_Entry, str]]] = {}
    for entry in entries:
        assert entry.run is not None
        for flag in entry.run.flags.all():
            if flag.severity == "warning":
                remarks.setdefault(flag.code, []).append((entry, flag.detail))
    for flagged in remarks.values():
        if len({entry.column for entry, _ in flagged}) < len(entries):
            for entry, detail in flagged:
                said = f"the run of {entry.name} is flagged: {detail}"
                yield _Found("flag", said, (entry.column,))


def _unit_counts(
    entries: Sequence[_Entry],
    *,
    adapters: Sequence[Adapter],
    units: Mapping[tuple[int, str], int],
) -> Iterator[_Found]:
    counted = [
        (units.get((adapters[entry.column].pk, entry.run.kind), 1), entry)
        for entry in entries
        if entry.run is not None
    ]
    if len({count for count, _ in counted}) > 1:
        said = listed(
            f"{count} unit{'' if count == 1 else 's'} of {entry.name}" for count, entry in counted
        )
        columns = tuple(entry.column for _, entry in counted)
        yield _Found("units", f"unequal numbers of samples were tested: {said}.", columns)


def _ages(entries: Sequence[_Entry]) -> Iterator[_Found]:
    dated = [(moment_of(entry.run), entry) for entry in entries if entry.run is not None]
    first, last = min(dated, key=lambda pair: pair[0]), max(dated, key=lambda pair: pair[0])
    if last[0] - first[0] > AGE_SPREAD:
        yield _Found(
            "age",
            f"more than a year lies between the runs of {first[1].name} "
            f"({first[0]:%Y-%m-%d}) and {last[1].name} ({last[0]:%Y-%m-%d}).",
            (first[1].column, last[1].column),
        )


def _without_common_condition(table: Table) -> Iterator[Departure]:
    """Metrics for which every condition holds of one adapter only, so that nothing is compared."""
    by_metric: dict[str, list[int]] = {}
    for position, row in enumerate(table.rows):
        by_metric.setdefault(row.metric.key, []).append(position)
    for positions in by_metric.values():
        cells = [
            (at, column)
            for at in positions
            for column, cell in enumerate(table.rows[at].cells)
            if cell is not None
        ]
        columns = {column for _, column in cells}
        alone = all(sum(cell is not None for cell in table.rows[at].cells) < 2 for at in positions)
        if len(columns) > 1 and alone:
            names = listed(str(table.adapters[column]) for column in sorted(columns))
            yield Departure(
                "condition",
                f"{table.rows[positions[0]].metric.title}: {names} were measured under different "
                "conditions only; no row compares them.",
                tuple(cells),
            )


def _rows_in_words(rows: Iterable[TableRow]) -> str:
    names = [
        row.metric.title
        if not row.condition.as_json()
        else f"{row.metric.title}, {condition_in_words(row.condition)}"
        for row in rows
    ]
    more = len(names) - 1
    return names[0] if not more else f"{names[0]}, and {more} more row{'' if more == 1 else 's'}"
