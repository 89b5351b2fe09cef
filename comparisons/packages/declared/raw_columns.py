"""How each raw file was read, so that a stranger can read it alike with any CSV library."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from comparisons.packages.columns import Column
from comparisons.packages.declared.run_tables import OF_RUN, RUN
from comparisons.packages.scope import Scope
from comparisons.packages.tables import Cells, Table, missing_file
from comparisons.packages.ucum import ucum_of
from measurements import queries
from measurements.confined import Exhausted, Job, examine
from measurements.intake.columns import Column as KindColumn
from measurements.intake.evidence import Evidence, HeadingSeen
from measurements.intake.layout import SEPARATORS
from measurements.intake.units import convert
from measurements.kinds import all_kinds, get_kind
from measurements.models import Run
from measurements.processing import read_limits

_SIGNS = {word: sign for sign, word in SEPARATORS.items()}
# Names of the IANA registry of character sets.
_CHARSETS = {"UTF-8": "utf-8", "Windows": "windows-1252", "Latin": "iso-8859-1"}
_UTF_16 = {"little": "utf-16le", "big": "utf-16be"}


def _charset(words: str) -> str | None:
    """The registered name of an encoding that the reader told in words."""
    if words.startswith("UTF-16"):
        return next(name for order, name in _UTF_16.items() if order in words)
    return next((name for start, name in _CHARSETS.items() if words.startswith(start)), None)


def _seen(run: Run) -> Evidence | None:
    job = Job(
        path=queries.raw_store().path(run.raw_id),
        file_name=run.file_name,
        kind=run.kind,
        maps=queries.column_maps_of(run),
    )
    try:
        return examine(job, limits=read_limits()).evidence
    except Exhausted:
        return None
    except FileNotFoundError as error:
        raise missing_file(run.raw_id) from error


def _canonical(name: str, columns: tuple[KindColumn, ...]) -> KindColumn:
    exact = (column for column in columns if column.name == name)
    family = (column for column in columns if column.is_family)
    return next(exact, None) or next(family)


def factor_of(unit: str, *, to: str) -> float | None:
    """How many of one unit the other is; None where their zeros differ."""
    zero, one = convert(np.array([0.0, 1.0]), from_unit=unit, to_unit=to)
    return float(one) if zero == 0.0 else None


def _heading(seen: HeadingSeen, *, kind: str) -> Cells:
    if not seen.column:
        return seen.text, seen.unit_text, None, None, None, None
    column = _canonical(seen.column, get_kind(kind).columns)
    if column.is_text or seen.read_unit is None:
        unit = None if column.is_text else ucum_of(column.unit)
        return seen.text, seen.unit_text, seen.column, None, unit, None
    factor = factor_of(seen.read_unit, to=column.unit)
    units = ucum_of(seen.read_unit), ucum_of(column.unit)
    return seen.text, seen.unit_text, seen.column, *units, factor


def _raw_columns(scope: Scope) -> Iterator[Cells]:
    kinds = [kind.slug for kind in all_kinds()]
    known = scope.runs.filter(raw__held=True, kind__in=kinds).select_related("column_map")
    for run in known.defer("trace", "plot", "details").iterator(chunk_size=200):
        seen = _seen(run)
        if seen is None:
            continue
        is_text = seen.format == "text"
        first = None if seen.row is None else (seen.unit_row or seen.row) + 1
        for place, heading in enumerate(seen.headings, start=1):
            yield (
                run.pk,
                place,
                *_heading(heading, kind=run.kind),
                seen.format,
                _charset(seen.encoding) if is_text else None,
                _SIGNS.get(seen.separator) if is_text else None,
                (seen.decimal or ".") if is_text else None,
                seen.row,
                first,
            )


RAW_COLUMNS = Table(
    "columns",
    "How the columns of each raw file were read",
    (
        RUN,
        Column("place", "integer", "Place of the column in the file, from 1.", required=True),
        Column("heading", "string", "Heading as the file spells it."),
        Column("heading_unit", "string", "Its cell in a row of units below the headings."),
        Column("column", "string", "Canonical column that it was read as; empty: not read."),
        Column("unit_found", "string", "UCUM code of the cells; empty: clock stamps or text."),
        Column("unit_read", "string", "UCUM code of the canonical column."),
        Column("factor", "number", "Cells times this are in that unit; empty: not so simple."),
        Column("format", "string", "text, workbook, parquet, array or arrays.", required=True),
        Column("encoding", "string", "Character set (IANA); a mark of byte order may lead."),
        Column("delimiter", "string", "Sign between cells; empty: one column."),
        Column("decimal_mark", "string", "Decimal mark of its numbers."),
        Column("heading_line", "integer", "Line of the headings, from 1."),
        Column("first_line", "integer", "Line of the first row."),
    ),
    key=("run", "place"),
    rows=_raw_columns,
    references=(OF_RUN,),
    of_raw_files=True,
)
