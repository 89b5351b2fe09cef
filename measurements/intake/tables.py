"""A table from a raw file: every row checked, every number in its canonical unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from measurements.intake.column_maps import ColumnMap
from measurements.intake.columns import Column, Reading, Table
from measurements.intake.decoding import Refused, printable
from measurements.intake.formats import Format, recognise
from measurements.intake.numpy_files import read_array, read_arrays
from measurements.intake.parquet_files import read_parquet
from measurements.intake.problems import SHOWN_PROBLEMS, Draft, Problems
from measurements.intake.text_tables import read_text
from measurements.intake.worksheets import read_workbook

_READERS: Mapping[Format, Callable[[Path, Sequence[Column], Draft], Table | None]] = {
    "text": read_text,
    "workbook": read_workbook,
    "parquet": read_parquet,
    "array": read_array,
    "arrays": read_arrays,
}


def _ignore(_share: float) -> None:
    pass


def read_table(
    path: Path,
    columns: Sequence[Column],
    *,
    file_name: str,
    maps: Sequence[ColumnMap] = (),
    problems_kept: int = SHOWN_PROBLEMS,
    told: Callable[[float], None] = _ignore,
) -> Reading:
    """Read a raw file as the table of a kind of run.

    CSV, TSV, XLSX, Parquet and NumPy files are told apart by their bytes.

    Parameters
    ----------
    path : Path
        The raw file; it is only read.
    columns : sequence of Column
        What the kind can use; the table holds them in their canonical units.
    file_name : str
        What the sender called the file, for messages.
    maps : sequence of ColumnMap
        Column maps to try; the first that is of the file's headings says what they are.
    problems_kept : int
        How many problems are worded; all are counted.
    told : callable
        Called with the share that was read, from 0 to 1, now and then in a long file.

    Returns
    -------
    Reading
        With a table, or with problems naming row and heading. Problems of the layout
        (encoding, headings, rows of unequal length) come alone: without a layout there are
        no cells to judge.

    Raises
    ------
    OSError
        The file itself cannot be read.
    MemoryError
        It takes more memory than the process may have. Nothing else in a file raises anything.
    """
    draft = Draft(
        f"‘{printable(file_name, limit=80)}’",
        maps=maps,
        told=told,
        problems=Problems(problems_kept),
    )
    table: Table | None = None
    try:
        table = _READERS[recognise(path)](path, columns, draft)
    except Refused as refusal:
        draft.problems.add(refusal.problem)
    return Reading(
        table=None if draft.problems.count else table,
        problems=draft.problems.first(),
        problem_count=draft.problems.count,
        notes=tuple(draft.notes),
        evidence=draft.evidence,
    )
