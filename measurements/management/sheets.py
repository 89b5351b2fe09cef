"""The sheet of an adapter: a workbook with the points of every method, to fill in at the bench.

It is read back by `filled_sheets`: the worksheet of runs is the table of a package.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from catalog.models import Adapter
from measurements import queries
from measurements.forms import RunForm
from measurements.intake.workbook_writing import Cell, Page, Sheet, sheet_names, workbook_bytes
from measurements.kinds import all_kinds
from measurements.kinds.base import Kind, PlannedRun
from measurements.management.filled_sheets import FILL_IN, PLANNED, RUNS, SEPARATOR

READ_FIRST = "Read me first"
_DESCRIBING = ("adapter", "kind", "file")
_PINNED = len(_DESCRIBING) + 1

_HOW_TO_FILL_IN = "How to fill in"
_BEFORE_YOU_START = "Before you start"
_INSTRUCTIONS = (
    f"Each row of the worksheet “{RUNS}” is one run; “file” there names the worksheet of its data. "
    "Give the conditions as they were, not as they were planned.",
    "Write readings below the headings, in the unit at the end of each heading. A row in which "
    "nothing was written is left out, so is a column; so is a run of which no row was filled in.",
    "Set points are filled in already; overwrite one that you did not hold exactly. Rows may be "
    "added, and a log pasted in whole. Do not merge cells, and keep the headings. To measure "
    "something again, with another device say, copy its worksheet and its row, and name both anew.",
    "Several instruments are separated by semicolons, by the names that the site knows them under. "
    "Date and time as in 2026-04-04 14:30, in UTC unless a zone is given.",
    "A long log may also be handed in by itself as the instrument wrote it; delete its row then.",
    "Hand the workbook in as it is, on the page “Hand in a package” or with the intake command. "
    "What is handed in twice is taken in once.",
)
_GENERAL_CAUTIONS = (
    "Measuring mains adapters can kill, burn and set fire. This sheet teaches nobody that work and "
    "gives no leave to do it: the electrical code and the workplace rules of your place, and a "
    "person licensed there, come before anything written here.",
    "A verdict made from these readings is an indication from one bench, not a certification.",
)


@dataclass(frozen=True, slots=True)
class _Asked:
    """A planned run, its method and its worksheet."""

    kind: Kind
    run: PlannedRun
    sheet: str


def sheet_of(adapter: Adapter) -> bytes:
    """The workbook with every planned run of the adapter, as a file."""
    setup = queries.plan_setup(adapter)
    kinds = queries.leaders_first(all_kinds())
    planned = [(kind, run) for kind in kinds for run in kind.plan(setup)]
    names = sheet_names([run.title for _, run in planned])
    asked = [_Asked(kind, run, name) for (kind, run), name in zip(planned, names, strict=True)]
    return workbook_bytes(
        [_runs(adapter, asked), _read_first(adapter, asked), *map(_data, asked)],
        active=READ_FIRST,
    )


def file_name_of(adapter: Adapter) -> str:
    """What the workbook is called unless somebody says otherwise."""
    return f"{adapter.slug}-plan.xlsx"


def _fields(asked: Sequence[_Asked]) -> tuple[str, ...]:
    """The columns of the table of runs: common fields, then those of the methods at hand."""
    common = [name for name in RunForm.base_fields if name not in _DESCRIBING]
    own = dict.fromkeys(field.name for item in asked for field in item.kind.fields)
    return (*common, *own)


def _runs(adapter: Adapter, asked: Sequence[_Asked]) -> Sheet:
    fields = _fields(asked)
    numbers = {"mains_v", "mains_hz", "ambient_c"} | {
        field.name for item in asked for field in item.kind.fields if field.type == "number"
    }
    headings = (*_DESCRIBING, PLANNED, *fields, FILL_IN)
    rows = tuple(
        (
            *(adapter.slug, item.kind.slug, item.sheet, item.run.title),
            *(item.run.fields.get(name) for name in fields),
            f"{SEPARATOR} ".join(_awaited(item.run)),
        )
        for item in asked
    )
    return Sheet(RUNS, headings, rows, texts=frozenset(headings) - numbers, pinned=_PINNED)


def _awaited(run: PlannedRun) -> tuple[str, ...]:
    """The headings under which the bench writes: those that the plan leaves open in every row,
    else in some, else all of them.
    """
    if run.log:
        return run.columns
    columns = list(zip(*run.rows, strict=True)) or [()] * len(run.columns)
    for is_open in (all, any):
        found = tuple(
            name
            for name, cells in zip(run.columns, columns, strict=True)
            if is_open(cell is None for cell in cells)
        )
        if found:
            return found
    return run.columns


def _data(item: _Asked) -> Sheet:
    texts = frozenset(column.name for column in item.kind.columns if column.type == "text")
    rows: tuple[tuple[Cell, ...], ...] = () if item.run.log else item.run.rows
    return Sheet(item.sheet, item.run.columns, rows, texts=texts)


def _read_first(adapter: Adapter, asked: Sequence[_Asked]) -> Page:
    kinds = list(dict.fromkeys(item.kind.slug for item in asked))
    titles = {item.kind.slug: item.kind for item in asked}
    paragraphs = [
        f"Plan of {adapter}",
        "",
        _BEFORE_YOU_START,
        *_GENERAL_CAUTIONS,
    ]
    bold = {paragraphs[0], _BEFORE_YOU_START, _HOW_TO_FILL_IN}
    for slug in kinds:
        heading = f"Cautions: {titles[slug].title}"
        bold.add(heading)
        paragraphs += ["", heading, *titles[slug].cautions]
    paragraphs += ["", _HOW_TO_FILL_IN, *_INSTRUCTIONS]
    for slug in kinds:
        heading = f"Worksheets: {titles[slug].title}"
        bold.add(heading)
        paragraphs += ["", heading, *_listed(item for item in asked if item.kind.slug == slug)]
    if not asked:
        paragraphs += ["", "No method plans a run of this adapter."]
    return Page(READ_FIRST, tuple(paragraphs), frozenset(bold))


def _listed(asked: Iterable[_Asked]) -> list[str]:
    return [
        f"“{item.sheet}”: {item.run.title}."
        + (" Paste the log of the instrument." if item.run.log else "")
        + (f" {item.run.note}" if item.run.note else "")
        for item in asked
    ]
