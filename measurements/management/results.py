"""Reading a table of results computed elsewhere: ``results.csv``, one row a result."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from django.contrib.auth.models import User

from catalog.models import Adapter, Device
from measurements.actions import Refused
from measurements.intake.columns import Problem
from measurements.intake.rawstore import TooLarge
from measurements.intake.units import UnitError, convert, plain, recognise
from measurements.kinds import all_kinds, all_metrics
from measurements.kinds.base import Condition, Metric
from measurements.management.bulk import Refusal, require_columns
from measurements.management.packages import Package, PackageError, Row
from measurements.models import ResultTable
from measurements.parameters import LOADS
from measurements.result_tables import CheckedTable, Result, receive_table

TABLE = "results.csv"
NEEDED = ("adapter", "metric", "value")
PARTS = ("line", "output_v", "load", "load_percent", "device", "sensor", "port")
COLUMNS = (*NEEDED, "unit", "standard_uncertainty", "expanded_uncertainty", *PARTS, "note")
COVERAGE_FACTOR = 2.0
MOST_ROWS = 20_000
LONGEST_NOTE = 500

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_SENSOR = re.compile(r"[a-z][a-z0-9_-]{0,59}")
_LOADS = {load.replace(" ", "").casefold(): load for load in LOADS}
_LARGEST = {"output_v": 1000.0, "load_percent": 200.0}
_MINUS = str.maketrans({"−": "-", "\u00a0": " ", "\u202f": " "})


class _Wrong(Exception):
    """What is wrong with one cell, and what to do."""

    def __init__(self, column: str, detail: str) -> None:
        super().__init__(detail)
        self.column = column


@dataclass(slots=True)
class Results:
    """What became of a table of results: every row is taken in or refused.

    `table` is None where no row could be taken in, and then nothing was kept. `created` is
    False where the same file was there before.
    """

    table: ResultTable | None = None
    created: bool = False
    read: int = 0
    refused: int = 0
    refusals: list[Refusal] = field(default_factory=list)

    @property
    def taken_in(self) -> int:
        """How many rows were taken in."""
        return self.read - self.refused


def bring_results(
    package: Package, *, by: User, origin: str, name: str = TABLE, file_name: str = TABLE
) -> Results:
    """Take in the table `name` of a package; the file itself is kept as it came.

    Raises `PackageError` when it cannot be read as a table, `OSError` when the store is full.
    """
    rows = package.rows(name)
    try:
        require_columns(rows, known=COLUMNS, needed=NEEDED)
        if len(rows) > MOST_ROWS:
            raise PackageError(f"It has {len(rows):,} rows; {MOST_ROWS:,} are taken. Split it.")
        checked = check(rows, by=by)
    except PackageError as error:
        raise PackageError(f"{name}: {error}") from error
    found = Results(read=checked.read, refused=checked.refused)
    found.refusals = [
        Refusal(name, problem["row"], problem["column"], problem["detail"])
        for problem in checked.problems
    ]
    if not checked.results:
        return found
    try:
        received = receive_table(
            checked, chunks=package.chunks(name), file_name=file_name, origin=origin, by=by
        )
    except TooLarge as error:
        raise PackageError(f"{name}: {error}") from error
    except Refused as refused:
        raise PackageError(f"{name}: {refused.detail}") from refused
    found.table, found.created = received.table, received.created
    return found


def title_of(package: Package, *, otherwise: str) -> str:
    """What the package calls itself in its descriptor, else `otherwise`."""
    if not package.has("datapackage.json"):
        return otherwise
    content = json.loads(b"".join(package.chunks("datapackage.json")))
    title = content.get("title") if isinstance(content, Mapping) else None
    return title.strip()[:300] if isinstance(title, str) and title.strip() else otherwise


def check(rows: Sequence[Row], *, by: User) -> CheckedTable:
    """Every row as a result, or what is wrong with it. Three queries."""
    slugs = {row.cells["adapter"] for row in rows}
    visible = Adapter.objects.visible_to(by).prefetch_related("ports")
    known = _Known(
        adapters={item.slug: item for item in visible if item.slug in slugs},
        devices=frozenset(Device.objects.values_list("slug", flat=True)),
    )
    found: list[Result] = []
    problems: list[Problem] = []
    for row in rows:
        result, wrong = _result(row, known=known)
        problems += [Problem(str(item), row=row.line, column=item.column) for item in wrong]
        if result is not None:
            found.append(result)
    places: dict[tuple[int, str, str], list[int]] = {}
    for item in found:
        places.setdefault(_place(item), []).append(item.line)
    for item in found:
        first, *others = places[_place(item)]
        if others:
            other = first if item.line != first else others[0]
            detail = (
                f"Line {other} is about the same adapter, metric and condition. Keep the one "
                "that is meant."
            )
            problems.append(Problem(detail, row=item.line, column="metric"))
    kept = tuple(item for item in found if len(places[_place(item)]) == 1)
    return CheckedTable(
        results=kept,
        problems=tuple(
            {"row": item.row, "column": item.column, "detail": item.detail}
            for item in sorted(problems, key=lambda item: item.row or 0)
        ),
        refused=len(rows) - len(kept),
    )


def _place(item: Result) -> tuple[int, str, str]:
    return item.adapter_id, item.metric, item.condition.key


@dataclass(frozen=True, slots=True)
class _Known:
    adapters: Mapping[str, Adapter]
    devices: frozenset[str]


def _result(row: Row, *, known: _Known) -> tuple[Result | None, list[_Wrong]]:
    wrong: list[_Wrong] = []
    cells = row.cells
    adapter = known.adapters.get(cells["adapter"])
    if adapter is None:
        wrong.append(
            _Wrong(
                "adapter",
                f"No adapter is called “{cells['adapter'][:160]}” here. Write its slug as in its "
                "page’s address, or bring it along in adapters.csv.",
            )
        )
    metric = all_metrics().get(cells["metric"])
    if metric is None:
        detail = f"No metric is called “{cells['metric'][:40]}”; GET /api/v1/metrics/ lists them."
        wrong.append(_Wrong("metric", detail))
    elif metric.key in _across():
        detail = (
            f"{metric.title} follows from all the runs of this site; it cannot come ready-made. "
            "Leave the row out."
        )
        wrong.append(_Wrong("metric", detail))
    if len(cells.get("note", "")) > LONGEST_NOTE:
        wrong.append(_Wrong("note", f"At most {LONGEST_NOTE} characters."))
    if metric is None:
        return None, wrong
    condition = Condition()
    try:
        value, spread = _measured(row, metric)
    except _Wrong as error:
        wrong.append(error)
        value, spread = 0.0, None
    if adapter is not None:
        condition, faults = _condition(row, metric, adapter=adapter, known=known)
        wrong += faults
    if wrong or adapter is None:
        return None, wrong
    note = cells.get("note", "")
    return Result(row.line, adapter.pk, metric.key, condition, value, spread, note), []


def _across() -> frozenset[str]:
    return frozenset(
        key for kind in all_kinds() if kind.across is not None for key in kind.across.gives
    )


def _number(row: Row, column: str) -> float:
    text = row.cells[column].translate(_MINUS)
    if row.decimal_comma:
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text) or not math.isfinite(float(text)):
        raise _Wrong(column, f"“{row.cells[column][:40]}” is not a number. Write it as 0.125.")
    return float(text)


def _measured(row: Row, metric: Metric) -> tuple[float, float | None]:
    """Value and standard uncertainty in the metric's unit."""
    value = _number(row, "value")
    given = [
        name for name in ("standard_uncertainty", "expanded_uncertainty") if row.cells.get(name)
    ]
    if len(given) > 1:
        raise _Wrong(
            "expanded_uncertainty", "Give the standard or the expanded uncertainty, not both."
        )
    spread = None
    if given:
        spread = _number(row, given[0])
        if spread <= 0:
            detail = "An uncertainty is above 0. Leave the cell empty where nobody stated one."
            raise _Wrong(given[0], detail)
        if given[0] == "expanded_uncertainty":
            spread /= COVERAGE_FACTOR
    unit = plain(row.cells.get("unit", ""))
    if unit in ("", plain(metric.unit)):
        return value, spread
    try:
        return _converted(value, spread, unit=unit, metric=metric)
    except UnitError as error:
        detail = f"{error} {metric.title} is in {metric.unit}: convert it, or leave the unit empty."
        raise _Wrong("unit", detail) from error


def _converted(
    value: float, spread: float | None, *, unit: str, metric: Metric
) -> tuple[float, float | None]:
    if "K" in (metric.unit, unit) and recognise(unit) != recognise(metric.unit):
        # 40 °C of rise are 40 K, of temperature 313 K: a table does not say which it means.
        raise UnitError(f"{unit} could mean a difference or a temperature.")
    ends = np.array([value, 0.0, 1.0])
    converted = convert(ends, from_unit=unit, to_unit=metric.unit)
    scale = float(converted[2] - converted[1])
    return float(converted[0]), None if spread is None else spread * scale


def _condition(
    row: Row, metric: Metric, *, adapter: Adapter, known: _Known
) -> tuple[Condition, list[_Wrong]]:
    """The condition of the row: every part that the metric has, and no other."""
    parts: dict[str, str | float] = {}
    wrong = []
    for name in PARTS:
        text = row.cells.get(name, "")
        if name not in metric.condition:
            if text:
                detail = f"{metric.title} does not depend on {name} here. Leave it empty."
                wrong.append(_Wrong(name, detail))
            continue
        if not text:
            wrong.append(_Wrong(name, f"{metric.title} depends on {name}. Fill it in."))
            continue
        try:
            parts[name] = _part(name, row, adapter=adapter, known=known)
        except _Wrong as error:
            wrong.append(error)
    return Condition(**parts), wrong  # type: ignore[arg-type]  # numbers and texts by name


def _part(name: str, row: Row, *, adapter: Adapter, known: _Known) -> str | float:
    text = row.cells[name]
    if name in _LARGEST:
        number = _number(row, name)
        if not 0 < number <= _LARGEST[name]:
            raise _Wrong(name, f"Write a number above 0 and up to {_LARGEST[name]:g}.")
        return number
    offered: Iterable[str]
    if name == "line":
        offered, chosen = ("high", "low"), {"high": "high", "low": "low"}.get(text.casefold())
    elif name == "load":
        offered, chosen = LOADS, _LOADS.get(text.replace(" ", "").casefold())
    elif name == "port":
        labels = {port.label.casefold(): port.label for port in adapter.ports.all()}
        offered, chosen = labels.values(), labels.get(text.casefold())
    elif name == "device":
        offered, chosen = (), text if text in known.devices else None
    else:
        offered, chosen = (), text.lower() if _SENSOR.fullmatch(text.lower()) else None
    if chosen is not None:
        return chosen
    listed = ", ".join(offered)
    if name == "device":
        listed = "the slug of a reference device, as GET /api/v1/devices/ lists them"
    elif name == "sensor":
        listed = "the sensor’s name in letters, digits and underscores, such as top"
    raise _Wrong(name, f"“{text[:60]}” is none here. Write {listed or 'one that is known here'}.")
