"""How the columns of several kinds of run fit the headings of one file, without its rows."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from measurements.intake.column_maps import ColumnMap
from measurements.intake.columns import Column
from measurements.intake.decoding import Refused, utf8_text
from measurements.intake.formats import Format, recognise
from measurements.intake.layout import WORTH, find_layout
from measurements.intake.matches import Matching
from measurements.intake.matching import match_headings
from measurements.intake.numpy_files import series_of_array, series_of_arrays
from measurements.intake.parquet_files import series_of_parquet
from measurements.intake.records import find_lines
from measurements.intake.series import Series, headings_of
from measurements.intake.workbook_scan import WorkbookError
from measurements.intake.workbooks import open_workbook
from measurements.intake.worksheets import layout_of_rows

Wanted = Mapping[str, Sequence[Column]]
Maps = Mapping[str, Sequence[ColumnMap]]


@dataclass(frozen=True, slots=True)
class Fit:
    """How well one set of columns fits.

    `is_mapped`: a column map says so. `complete`: nothing that is needed lacks and nothing is in
    doubt. `used` and `unread` count headings, `worth` weighs how they were recognised: a name
    counts more than a unit alone.
    """

    is_mapped: bool
    complete: bool
    used: int
    worth: int
    unread: int
    map_name: str = ""
    lacking: tuple[str, ...] = ()

    @property
    def rank(self) -> tuple[bool, bool, int, int]:
        """A larger one fits better."""
        return self.is_mapped and self.complete, self.complete, self.used, self.worth


def fits_of(path: Path, wanted: Wanted, *, maps: Maps) -> dict[str, Fit]:
    """The fit of every set of columns of which the file has any.

    Raises `Refused` when the file is no table, and `OSError`.
    """
    return _FITTERS[recognise(path)](path, wanted, maps)


def _fit(matching: Matching, *, headings: int, clashes: int = 0) -> Fit:
    used = len(matching.matches)
    applied = matching.applied
    return Fit(
        is_mapped=applied is not None,
        complete=not matching.problems and not clashes,
        used=used,
        worth=sum(WORTH[match.by] for match in matching.matches),
        unread=headings - used,
        map_name=applied.name if applied else "",
        lacking=tuple(problem.detail for problem in matching.problems),
    )


def _of_text(path: Path, wanted: Wanted, maps: Maps) -> dict[str, Fit]:
    found = {}
    with utf8_text(path) as text:
        lines = find_lines(text)
        for name, columns in wanted.items():
            try:
                layout = find_layout(lines, columns, maps=maps.get(name, ()))
            except Refused:
                continue
            found[name] = _fit(
                layout.matching, headings=len(layout.headings), clashes=len(layout.clashes)
            )
    return found


def _of_workbook(path: Path, wanted: Wanted, maps: Maps) -> dict[str, Fit]:
    found: dict[str, Fit] = {}
    scratch = Path(tempfile.mkdtemp(prefix="worksheet-"))
    try:
        with path.open("rb") as file, open_workbook(file) as book:
            for sheet in book.names:
                grid = book.grid(sheet)
                if not grid.rows:
                    continue
                for name, columns in wanted.items():
                    try:
                        layout = layout_of_rows(
                            grid.rows, columns, maps.get(name, ()), scratch / "text"
                        )
                    except Refused:
                        continue
                    fit = _fit(
                        layout.matching,
                        headings=len(layout.headings),
                        clashes=len(layout.clashes),
                    )
                    found[name] = max(fit, found.get(name, fit), key=lambda item: item.rank)
    except WorkbookError as error:
        raise Refused(str(error)) from error
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    return found


def _of_series(
    series_of: Callable[[Path, Sequence[Column]], Sequence[Series]],
) -> Callable[[Path, Wanted, Maps], dict[str, Fit]]:
    def fits(path: Path, wanted: Wanted, maps: Maps) -> dict[str, Fit]:
        found = {}
        for name, columns in wanted.items():
            try:
                series = series_of(path, columns)
            except Refused:
                continue
            matching = match_headings(headings_of(series), columns, maps=maps.get(name, ()))
            if matching.matches:
                named = sum(1 for item in series if item.heading)
                found[name] = _fit(matching, headings=named)
        return found

    return fits


_FITTERS: Mapping[Format, Callable[[Path, Wanted, Maps], dict[str, Fit]]] = {
    "text": _of_text,
    "workbook": _of_workbook,
    "parquet": _of_series(series_of_parquet),
    "array": _of_series(series_of_array),
    "arrays": _of_series(series_of_arrays),
}
