"""Tables from Parquet files, as loggers and data frames write them.

Only the columns that the run uses are decoded, some rows at a time. A field may state its unit in
its metadata under `unit`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, Any

import numpy as np

from measurements.intake.columns import Column, Table
from measurements.intake.decoding import Refused
from measurements.intake.evidence import Evidence
from measurements.intake.matches import Match
from measurements.intake.problems import Draft
from measurements.intake.series import (
    ROW_NOTE,
    ROWS_AT_ONCE,
    Raw,
    Series,
    Sort,
    build_table,
    match_series,
    raw_of_texts,
    refuse_amount,
    refuse_size,
    seconds_of,
)

_LARGEST_FOOTER_TEXT = 8 << 20  # bytes
# Also how deep a schema may be nested and how many groups of rows there may be.
_LONGEST_FOOTER_LIST = 10_000
_MOST_UNPACKED = 1 << 30  # bytes
_LONGEST_TEXT = 4_000  # characters
_TICKS_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}


def read_parquet(path: Path, columns: Sequence[Column], draft: Draft) -> Table | None:
    """The table of a Parquet file, None with problems. Raises `Refused`."""
    with path.open("rb") as file:
        try:
            return _read(file, columns, draft)
        except (Refused, MemoryError):
            raise
        except Exception as error:  # whatever a library stumbles over in a file from outside
            raise Refused(
                f"The Parquet file is damaged or of a kind that is not read here "
                f"({type(error).__name__}). Write it again, or save the table as CSV."
            ) from error


def _opened(file: IO[bytes], *, texts: Sequence[str] = ()) -> Any:
    # Costs more time to import than a small file takes to read.
    import pyarrow.parquet as pq  # noqa: PLC0415

    file.seek(0)
    return pq.ParquetFile(
        file,
        read_dictionary=list(texts) or None,
        thrift_string_size_limit=_LARGEST_FOOTER_TEXT,
        thrift_container_size_limit=_LONGEST_FOOTER_LIST,
        page_checksum_verification=True,
    )


def _read(file: IO[bytes], columns: Sequence[Column], draft: Draft) -> Table | None:
    source = _opened(file)
    rows = int(source.metadata.num_rows)
    refuse_size(rows=rows, columns=source.metadata.num_columns)
    schema = source.schema_arrow
    draft.notes.append(f"{draft.spoken} read as a Parquet file. {ROW_NOTE}")
    draft.evidence = Evidence(format="Parquet file")
    series = [_series(field) for field in schema]
    matches = match_series(series, columns, draft)
    if not matches:
        return None
    refuse_amount(rows=rows, matches=matches)
    names = [series[match.index].heading for match in matches]
    _refuse_unpacked(source.metadata)
    # One text on every row is packed to nothing, and must not be unpacked a million times.
    texts = [series[match.index].heading for match in matches if series[match.index].sort == "text"]
    raws = _raws(_opened(file, texts=texts), matches, names, rows=rows, told=draft.told)
    return build_table(matches, raws, rows=rows, draft=draft)


def series_of_parquet(path: Path, _columns: Sequence[Column]) -> list[Series]:
    """The columns that the file declares. Raises `Refused`."""
    try:
        with path.open("rb") as file:
            return [_series(field) for field in _opened(file).schema_arrow]
    except Exception as error:  # whatever a library stumbles over in a file from outside
        raise Refused("The Parquet file is damaged. Write it again.") from error


def _series(field: Any) -> Series:
    import pyarrow.types as kinds  # noqa: PLC0415

    unit = (field.metadata or {}).get(b"unit", b"").decode("utf-8", "replace").strip()
    stored = field.type
    if kinds.is_dictionary(stored):
        stored = stored.value_type
    sort: Sort = "other"
    if kinds.is_floating(stored) or kinds.is_integer(stored) or kinds.is_decimal(stored):
        sort = "number"
    elif kinds.is_null(stored):
        sort = "number"  # a column without a single value
    elif kinds.is_timestamp(stored):
        sort = "clock"
    elif kinds.is_string(stored) or kinds.is_large_string(stored):
        sort = "text"
    elif kinds.is_duration(stored):
        sort, unit = "number", "s"
    return Series(field.name, sort, str(stored), unit)


def _refuse_unpacked(metadata: Any) -> None:
    # Of the groups only: what the library keeps of single columns can abort the process when
    # their statistics are damaged.
    groups = range(metadata.num_row_groups)
    if sum(metadata.row_group(group).total_byte_size for group in groups) > _MOST_UNPACKED:
        raise Refused(
            f"The file unpacks to more than {_MOST_UNPACKED >> 20} MiB, which no log does. Thin "
            "the log or split it."
        )


def _raws(
    source: Any,
    matches: Sequence[Match],
    names: Sequence[str],
    *,
    rows: int,
    told: Callable[[float], None],
) -> dict[int, Raw]:
    """Every matched column by its index."""
    gathered = [_Gathered(rows) for _ in matches]
    at = 0
    for batch in source.iter_batches(batch_size=ROWS_AT_ONCE, columns=list(names)):
        if at + len(batch) > rows:
            raise Refused(_other_count(rows))
        for name, column in zip(names, gathered, strict=True):
            column.take(batch.column(name), at)
        at += len(batch)
        told(at / rows)
    if at != rows:
        raise Refused(_other_count(rows))
    return {match.index: column.raw(match) for match, column in zip(matches, gathered, strict=True)}


def _other_count(rows: int) -> str:
    return (
        f"The Parquet file states {rows:,} rows but holds another number: it is damaged. Write it "
        "again."
    )


class _Gathered:
    """One column, filled batch by batch."""

    def __init__(self, rows: int) -> None:
        self._rows = rows
        self._values = np.empty(0)
        self._stamps = np.empty(0, dtype=np.int64)
        self._known = np.empty(0, dtype=np.bool_)
        self._texts: list[str] = []
        self._tick_s = 0.0

    def take(self, batch: Any, at: int) -> None:
        """Take the values of the rows from `at` on."""
        import pyarrow.types as kinds  # noqa: PLC0415

        if kinds.is_dictionary(batch.type):
            if kinds.is_string(batch.type.value_type) or kinds.is_large_string(
                batch.type.value_type
            ):
                self._texts.extend(_texts(batch))
                return
            batch = batch.dictionary_decode()
        if kinds.is_string(batch.type) or kinds.is_large_string(batch.type):
            self._texts.extend(_texts(batch.dictionary_encode()))
        elif kinds.is_timestamp(batch.type) or kinds.is_duration(batch.type):
            self._take_ticks(batch, at)
        else:
            if not len(self._values):
                self._values = np.empty(self._rows)
            self._values[at : at + len(batch)] = _floats(batch)

    def _take_ticks(self, batch: Any, at: int) -> None:
        import pyarrow as pa  # noqa: PLC0415
        import pyarrow.types as kinds  # noqa: PLC0415

        tick_s = _TICKS_S[batch.type.unit]
        ticks = batch.cast(pa.int64()).fill_null(0).to_numpy(zero_copy_only=False)
        known = batch.is_valid().to_numpy(zero_copy_only=False)
        if kinds.is_duration(batch.type):
            if not len(self._values):
                self._values = np.empty(self._rows)
            self._values[at : at + len(batch)] = np.where(known, ticks * tick_s, np.nan)
            return
        if not len(self._stamps):
            self._stamps = np.empty(self._rows, dtype=np.int64)
            self._known = np.empty(self._rows, dtype=np.bool_)
        self._tick_s = tick_s
        self._stamps[at : at + len(batch)] = ticks
        self._known[at : at + len(batch)] = known

    def raw(self, match: Match) -> Raw:
        """All of it."""
        if len(self._texts):
            return raw_of_texts(self._texts, match)
        if len(self._stamps):
            return Raw(seconds_of(self._stamps, self._known, tick_s=self._tick_s), is_clock=True)
        return Raw(self._values)


def _floats(batch: Any) -> Any:
    import pyarrow as pa  # noqa: PLC0415
    import pyarrow.types as kinds  # noqa: PLC0415

    if kinds.is_decimal(batch.type) or kinds.is_null(batch.type):
        batch = batch.cast(pa.float64())
    return batch.to_numpy(zero_copy_only=False)


def _texts(batch: Any) -> list[str]:
    """The texts of a dictionary array; each is unpacked once, however often it stands there."""
    dictionary = batch.dictionary
    longest = max((len(item) for item in dictionary.to_pylist() if item is not None), default=0)
    if longest > _LONGEST_TEXT:
        raise Refused(f"A text of {longest:,} characters is none of a bench. Shorten it.")
    words = [word or "" for word in dictionary.to_pylist()]
    places = batch.indices.fill_null(-1).to_pylist()
    return [words[place] if place >= 0 else "" for place in places]
