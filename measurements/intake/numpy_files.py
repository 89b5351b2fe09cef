"""Tables from NumPy files: named arrays (`.npz`), or one array with named fields (`.npy`).

An array is mapped or streamed into floats; nothing is unpickled. A plain array of two columns
has no names, and is read only as a waveform, where there is one way to understand it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import Column, Problem, Table
from measurements.intake.decoding import Refused, printable
from measurements.intake.evidence import Evidence
from measurements.intake.matches import Match
from measurements.intake.npz_members import Member, listed_members
from measurements.intake.numpy_headers import Header, read_header
from measurements.intake.problems import Draft
from measurements.intake.sampling import TIME, Sampling, sampling_of, stated_sampling
from measurements.intake.series import (
    ROW_NOTE,
    ROWS_AT_ONCE,
    Raw,
    Series,
    Sort,
    build_table,
    match_series,
    raw_of_texts,
    recognised,
    refuse_amount,
    refuse_size,
    seconds_of,
)
from measurements.intake.zips import opened_zip

_WAVEFORM = (TIME, "voltage_v")
_NAMES_WANTED = (
    "Save an .npz with one array a column, named as its heading, such as time_s and voltage_v; for "
    "a sampled waveform voltage_v and sample_rate_hz will do."
)
_PICKLED = "pickled Python objects, which are never opened here"
_TICKS_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "m": 60.0, "h": 3600.0}
_WIDEST_TEXT = 4 * 1000  # bytes

Blocks = Callable[[], Iterator[NDArray[Any]]]


def read_array(path: Path, columns: Sequence[Column], draft: Draft) -> Table | None:
    """The table of a `.npy` file, None with problems. Raises `Refused`."""
    with path.open("rb") as file:
        header = read_header(file, file_size=path.stat().st_size, spoken="The file")
    if header.dtype.hasobject:
        raise Refused(
            f"The array holds {_PICKLED}. Convert it to numbers, for instance with astype(float), "
            "and save it again."
        )
    draft.notes.append(f"{draft.spoken} read as a NumPy array. {ROW_NOTE}")
    draft.evidence = Evidence(format="NumPy array")
    names = header.dtype.names
    if names is None:
        names = _names_of_plain(header, columns)
        draft.notes.append("The array names no columns; the first is read as time, in s.")
    elif len(header.shape) != 1:
        raise Refused(
            f"The structured array has {len(header.shape)} dimensions. Save it with one: its rows."
        )
    refuse_size(rows=header.shape[0], columns=len(names))
    array = np.memmap(
        path,
        dtype=header.dtype,
        mode="r",
        offset=header.size,
        shape=header.shape,
        order="F" if header.fortran_order else "C",
    )
    fields: list[NDArray[Any]] = [
        array[:, at] if header.dtype.names is None else array[name] for at, name in enumerate(names)
    ]
    rows = header.shape[0]
    series = [
        _series(name, field.dtype, field.shape, is_column=field.size == rows)
        for name, field in zip(names, fields, strict=True)
    ]
    matches = match_series(series, columns, draft)
    if not matches:
        return None
    refuse_amount(rows=rows, matches=matches)
    raws = {}
    for done, match in enumerate(matches, start=1):
        raws[match.index] = _raw(partial(_mapped, fields[match.index]), match, rows=rows)
        draft.told(done / len(matches))
    return build_table(matches, raws, rows=rows, draft=draft)


def read_arrays(path: Path, columns: Sequence[Column], draft: Draft) -> Table | None:
    """The table of a `.npz` file, None with problems. Raises `Refused`."""
    with opened_zip(path) as archive:
        members, others = listed_members(archive)
        draft.evidence = Evidence(format="NumPy archive")
        draft.notes.append(f"{draft.spoken} read as a NumPy archive of arrays. {ROW_NOTE}")
        if others:
            draft.notes.append(f"Members that are no arrays were left unread: {others}.")
        series, sampling = _all_series(members, columns, draft)
        matches = match_series(series, columns, draft)
        if not matches:
            return None
        stored = {
            match.index: members[match.index] for match in matches if match.index < len(members)
        }
        rows = _common_length(stored, draft)
        if draft.problems.count:
            return None
        refuse_size(rows=rows, columns=len(members))
        refuse_amount(rows=rows, matches=matches)
        raws = {}
        for done, match in enumerate(matches, start=1):
            if match.index in stored:
                raws[match.index] = _raw(stored[match.index].blocks, match, rows=rows)
            elif sampling is not None:
                raws[match.index] = Raw(sampling.time_s(rows))
            draft.told(done / len(matches))
    return build_table(matches, raws, rows=rows, draft=draft)


def series_of_array(path: Path, columns: Sequence[Column]) -> list[Series]:
    """The columns that a `.npy` file declares. Raises `Refused`."""
    with path.open("rb") as file:
        header = read_header(file, file_size=path.stat().st_size, spoken="The file")
    names = header.dtype.names or _names_of_plain(header, columns)
    fields: Mapping[str, Any] = header.dtype.fields or {}
    return [
        _series(name, fields[name][0] if fields else header.dtype, header.shape, is_column=True)
        for name in names
    ]


def series_of_arrays(path: Path, columns: Sequence[Column]) -> list[Series]:
    """The columns that a `.npz` file declares. Raises `Refused`."""
    with opened_zip(path) as archive:
        members, _ = listed_members(archive)
        return _all_series(members, columns, Draft(""))[0]


def _all_series(
    members: Sequence[Member], columns: Sequence[Column], draft: Draft
) -> tuple[list[Series], Sampling | None]:
    """Every array as a column, time by a stated sample rate among them, and that sampling."""
    series = [
        _series(
            member.name,
            member.header.dtype,
            member.header.shape,
            is_column=member.values == max(member.header.shape, default=1),
        )
        for member in members
    ]
    sampling = _without_single_values(members, series, columns, draft)
    if sampling is not None:
        series.append(Series(TIME, "number", "numbers"))
    return series, sampling


def _without_single_values(
    members: Sequence[Member], series: list[Series], columns: Sequence[Column], draft: Draft
) -> Sampling | None:
    """Take single values out of the series, for they are no columns.

    Gives the sampling that they state, None where the run needs none.
    """
    stated = stated_sampling(members)
    places = {at for at, _ in stated} | {
        at for at, member in enumerate(members) if not member.header.shape
    }
    for at in places:
        series[at] = Series("", "other", "")
    sampling = None
    own = recognised(series, columns, maps=draft.maps)
    if stated and TIME not in own and any(column.name == TIME for column in columns):
        sampling = sampling_of(stated, members)
        draft.notes.append(sampling.note)
        places -= {stated[0][0]}
    if places:
        spoken = ", ".join(f"‘{printable(members[at].name)}’" for at in sorted(places)[:30])
        draft.notes.append(f"Single values are no columns and were left unread: {spoken}.")
    return sampling


def _names_of_plain(header: Header, columns: Sequence[Column]) -> tuple[str, ...]:
    """Time and voltage, if the array has two columns and the run can be a waveform alone."""
    known = {column.name for column in columns}
    waveform = known.issuperset(_WAVEFORM) and not any(
        column.required for column in columns if column.name not in _WAVEFORM
    )
    shape = " × ".join(map(str, header.shape)) or "a single value"
    if not waveform or len(header.shape) != 2 or header.shape[1] != len(_WAVEFORM):
        also = " Rows of time and voltage are read without names." if waveform else ""
        raise Refused(f"The array ({shape}) names no columns.{also} {_NAMES_WANTED}")
    return _WAVEFORM


def _series(name: str, dtype: np.dtype[Any], shape: tuple[int, ...], *, is_column: bool) -> Series:
    if dtype.hasobject:
        return Series(name, "other", _PICKLED)
    if not is_column:
        return Series(name, "other", f"a table of {' × '.join(map(str, shape))} values")
    if dtype.kind in "mM" and np.datetime_data(dtype)[0] in _TICKS_S:
        # A span of time is a number; it becomes one of seconds.
        sort: Sort = "clock" if dtype.kind == "M" else "number"
        return Series(name, sort, str(dtype), unit="" if dtype.kind == "M" else "s")
    is_text = dtype.kind in "US" and dtype.itemsize <= _WIDEST_TEXT
    sort = "number" if dtype.kind in "fiu" else "text" if is_text else "other"
    return Series(name, sort, "text" if is_text else str(dtype))


def _common_length(stored: Mapping[int, Member], draft: Draft) -> int:
    lengths = {index: member.values for index, member in stored.items()}
    if len(set(lengths.values())) > 1:
        spoken = ", ".join(
            f"‘{printable(member.name)}’ {member.values:,}" for member in stored.values()
        )
        draft.problems.add(
            Problem(f"The arrays differ in length: {spoken}. Save the columns of one table.")
        )
    return next(iter(lengths.values()))


def _mapped(field: NDArray[Any]) -> Iterator[NDArray[Any]]:
    for start in range(0, len(field), ROWS_AT_ONCE):
        yield field[start : start + ROWS_AT_ONCE].reshape(-1)


def _raw(blocks: Blocks, match: Match, *, rows: int) -> Raw:
    """The values of a column, block by block. Raises `Refused` for damage."""
    try:
        return _filled(blocks, match, rows=rows)
    except (Refused, MemoryError):
        raise
    except Exception as error:  # whatever unpacking or converting stumbles over
        raise Refused(
            f"{match.heading.spoken} cannot be read ({type(error).__name__}): the file is damaged. "
            "Send it again.",
            column=printable(match.heading.text.strip()),
        ) from error


def _filled(blocks: Blocks, match: Match, *, rows: int) -> Raw:
    values, texts = np.empty(0), list[str]()
    stamps, tick_s = np.empty(0, dtype=np.int64), 1.0
    at = 0
    for block in blocks():
        kind = block.dtype.kind
        if kind in "US":
            texts.extend(_decoded(block))
        elif kind == "M":
            unit, count = np.datetime_data(block.dtype)
            tick_s = _TICKS_S[unit] * count
            stamps = stamps if len(stamps) else np.empty(rows, dtype=np.int64)
            stamps[at : at + len(block)] = block.astype(block.dtype.newbyteorder("=")).view(
                np.int64
            )
        else:
            values = values if len(values) else np.empty(rows)
            with np.errstate(all="ignore"):
                values[at : at + len(block)] = _as_floats(block)
        at += len(block)
    if at != rows:
        raise ValueError("another number of values than stated")
    if len(texts):
        return raw_of_texts(texts, match)
    if len(stamps):
        known = stamps != np.iinfo(np.int64).min
        return Raw(seconds_of(stamps, known, tick_s=tick_s), is_clock=True)
    return Raw(values)


def _as_floats(block: NDArray[Any]) -> NDArray[Any]:
    if block.dtype.kind != "m":
        return block
    unit, count = np.datetime_data(block.dtype)
    spans: NDArray[np.float64] = block.astype(np.float64) * (_TICKS_S[unit] * count)
    return np.where(np.isnat(block), np.nan, spans)


def _decoded(block: NDArray[Any]) -> list[str]:
    texts: list[str] = (
        block if block.dtype.kind == "U" else np.char.decode(block, "utf-8")
    ).tolist()
    for text in set(texts):
        text.encode("utf-8")  # no half of a surrogate pair, which no database takes
    return texts
