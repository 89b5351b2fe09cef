"""The cells of a table as text, some thousand rows at a time."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from typing import Any, BinaryIO

import numpy as np

from measurements.intake.body import Body
from measurements.intake.decoding import Refused

PARSER_ERRORS = (ValueError, OverflowError)  # the table library's own are ValueErrors
_ROWS_AT_ONCE = 50_000
_UNEVEN = (
    "The rows could not be told apart reliably. Save the table again as plain CSV, without "
    "quotation marks or line ends inside cells."
)


def opened(body: Body) -> BinaryIO:
    """The file at its first row.

    The parser is given a position, not a number of lines to skip: in skipped lines it would
    still pair quotation marks, and one in the preamble could swallow the headings.
    """
    source = body.records.source
    file = source.text.path.open("rb")
    file.seek(int(source.bounds[body.layout.first]))
    return file


def parser_options(body: Body, indices: Sequence[int]) -> dict[str, Any]:
    """How the parser must read the columns at `indices`, whatever their type."""
    records = body.records
    return {
        "sep": records.delimiter,
        "header": None,
        "index_col": False,
        "names": range(int(records.cells.max())),
        "usecols": indices,
        "nrows": len(records),
        "skip_blank_lines": False,  # so that rows are counted as the records are
        "quoting": csv.QUOTE_MINIMAL if records.quoted else csv.QUOTE_NONE,
        "keep_default_na": False,
        "encoding": "utf-8",
        "engine": "c",
    }


def portions(body: Body, indices: Sequence[int]) -> Iterator[dict[int, list[str]]]:
    """The cells of the columns at `indices`, without blank lines.

    Raises `Refused` where the parser and the count of records disagree, and `MemoryError`.
    """
    import pandas as pd  # noqa: PLC0415, the site starts sooner without it

    start, counts = 0, body.records.cells
    try:
        with (
            opened(body) as file,
            pd.read_csv(
                file,
                dtype=object,  # plain strings, whatever the table library has at hand
                na_filter=False,
                chunksize=_ROWS_AT_ONCE,
                **parser_options(body, indices),
            ) as frames,
        ):
            for frame in frames:
                kept = np.flatnonzero(counts[start : start + len(frame)] > 0)
                start += len(frame)
                yield {
                    int(index): frame[index].to_numpy(dtype=object)[kept].tolist()
                    for index in frame.columns
                }
    except PARSER_ERRORS as error:
        if "out of memory" in str(error):  # the parser's word for it is a ValueError
            raise MemoryError from error
        raise Refused(_UNEVEN) from error
    if start != len(counts):
        raise Refused(_UNEVEN)
