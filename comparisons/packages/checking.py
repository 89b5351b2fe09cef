"""Judging a whole package before anything of it is written down."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from comparisons.packages.reading import MOST_PROBLEMS, Opened, Unfit, read_row
from comparisons.packages.tables import Row, Table
from measurements.intake.decoding import printable
from measurements.kinds import all_kinds
from measurements.management.packages import PackageError
from measurements.models import Run, line_of

Progress = Callable[[list[Any], str, str], Iterable[Any]]
Key = tuple[Any, ...]
# Table, columns and what is named → the first place that names it, in words.
Wanted = dict[tuple[str, Key, Key], str]


def check(package: Opened, *, progress: Progress) -> None:
    """Hold bytes, hashes, cells, keys and references against each other.

    Raises `Unfit` with all that was found, up to a number.
    """
    problems: list[str] = []
    for path in progress(list(package.paths), "Checking files", "files"):
        try:
            package.package.require(path)
        except PackageError as error:
            problems.append(str(error))
    _end_with(problems)
    wanted: Wanted = {}
    keys: dict[str, dict[Key, set[Key]]] = {}
    asked = _asked(package.tables.values())
    for table in progress(list(package.tables.values()), "Checking tables", "tables"):
        keys[table.name] = _check_table(
            table, package, asked=asked.get(table.name, set()), wanted=wanted, problems=problems
        )
        if len(problems) >= MOST_PROBLEMS:
            break
    else:
        problems += _dangling(wanted, keys)
    _end_with(problems)


def _end_with(problems: list[str]) -> None:
    if problems:
        raise Unfit(*problems[:MOST_PROBLEMS])


def _asked(tables: Iterable[Table]) -> dict[str, set[Key]]:
    """Table → the combinations of its columns that others refer to."""
    found: dict[str, set[Key]] = {}
    for table in tables:
        for reference in table.references:
            found.setdefault(reference.table, set()).add(reference.key)
    return found


def _check_table(
    table: Table,
    package: Opened,
    *,
    asked: set[Key],
    wanted: Wanted,
    problems: list[str],
) -> dict[Key, set[Key]]:
    """Note what is wrong with the table and what it refers to; its keys, by columns."""
    found: dict[Key, set[Key]] = {columns: set() for columns in {*asked, table.key}}
    judge = _OF_TABLES.get(table.name, _nothing)
    count = 0
    for line, cells in package.lines(table):
        row, faults = read_row(table, cells, line=line)
        faults = faults or [f"{table.path}, row {line}, {said}" for said in judge(row)]
        problems += faults
        if len(problems) >= MOST_PROBLEMS:
            break
        if faults:
            continue
        count += 1
        own = tuple(row[name] for name in table.key)
        if own in found[table.key]:
            problems.append(f"{table.path}, row {line}: a row of this key stands there twice.")
        for columns, known in found.items():
            known.add(tuple(row[name] for name in columns))
        _note_references(table, row, line=line, wanted=wanted)
    package.counts[table.name] = count
    return found


def _note_references(table: Table, row: Row, *, line: int, wanted: Wanted) -> None:
    for reference in table.references:
        named = tuple(row[name] for name in reference.columns)
        if None not in named:
            place = f"{table.path}, row {line}, {', '.join(reference.columns)}"
            wanted.setdefault((reference.table, reference.key, named), place)


def _dangling(wanted: Wanted, keys: dict[str, dict[Key, set[Key]]]) -> list[str]:
    found = []
    for (table, columns, named), place in wanted.items():
        if named not in keys.get(table, {}).get(columns, set()):
            said = printable(", ".join(map(str, named)), limit=80)
            found.append(f"{place}: {table}.csv has no “{said}”.")
    return found


def _nothing(_row: Row) -> list[str]:
    return []


def _of_run(row: Row) -> list[str]:
    known = [kind.slug for kind in all_kinds()]
    faults = []
    if row["kind"] not in known:
        faults.append(f"kind: this release has no kind “{row['kind']}”; it has {', '.join(known)}.")
    if row["mains_v"] is not None and not line_of(row["mains_v"]):
        faults.append(f"mains_v: {row['mains_v']:g} V is outside both mains ranges.")
    return faults


def _of_record(row: Row) -> list[str]:
    faults = []
    if row["state"] not in Run.State.values:
        faults.append(f"state: “{row['state']}” is no state.")
    shown = set(Run.Standing.values) - {Run.Standing.PROVISIONAL}
    if row["standing"] not in shown:
        faults.append(f"standing: “{row['standing']}” is not one of {', '.join(sorted(shown))}.")
    return faults


_OF_TABLES: dict[str, Callable[[Row], list[str]]] = {"runs": _of_run, "records": _of_record}
