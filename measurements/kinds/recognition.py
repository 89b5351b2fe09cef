"""Which kind of run a file is, told by its columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from measurements.intake.column_maps import ColumnMap
from measurements.intake.decoding import Refused
from measurements.intake.fitting import Fit, fits_of
from measurements.kinds import all_kinds

_NO_MAPS: Mapping[str, Sequence[ColumnMap]] = {}


@dataclass(frozen=True, slots=True)
class Candidate:
    """A kind that a file might be.

    `complete`: it has every column that the kind needs, without doubt. `used` and `unread` count
    its headings. `map_name` is the column map that says so, "" for none; `lacking` what lacks, as
    sentences. `is_sure`: no other kind fits as well, and names say it and not units alone.
    """

    kind: str
    complete: bool
    used: int
    unread: int
    map_name: str = ""
    lacking: tuple[str, ...] = ()
    is_sure: bool = False


def recognise(
    path: Path, *, maps: Mapping[str, Sequence[ColumnMap]] = _NO_MAPS
) -> tuple[Candidate, ...]:
    """The kinds that a file might be, the best first; none where it is no table.

    Told by its columns alone; what it is called is often wrong.

    Parameters
    ----------
    path : Path
        The file; it is only read.
    maps : mapping of str to sequence of ColumnMap
        Column maps in use, by kind.

    Raises
    ------
    OSError
        The file itself cannot be read.
    """
    try:
        fits = fits_of(path, {kind.slug: kind.columns for kind in all_kinds()}, maps=maps)
    except Refused:
        return ()
    ordered = sorted(fits.items(), key=lambda item: item[1].rank, reverse=True)
    found = [
        Candidate(
            kind=slug,
            complete=fit.complete,
            used=fit.used,
            unread=fit.unread,
            map_name=fit.map_name,
            lacking=fit.lacking,
        )
        for slug, fit in ordered
    ]
    if found and _is_sure([fit for _, fit in ordered]):
        found[0] = replace(found[0], is_sure=True)
    return tuple(found)


def _is_sure(fits: Sequence[Fit]) -> bool:
    best = fits[0]
    if not best.complete or (len(fits) > 1 and fits[1].rank == best.rank):
        return False
    if best.is_mapped:
        return True
    # Units alone would make a waveform of any log in seconds and volts.
    return best.worth > best.used and best.unread <= best.used
