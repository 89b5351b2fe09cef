"""Columns of plain numbers, parsed section by section by the columnar library's CSV reader.

It is strict about what a number is and rounds every one correctly; whatever it stumbles over is
left to the readers that look at cells as text, and can say what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from measurements.intake.body import Body
from measurements.intake.columns import FloatArray
from measurements.intake.evidence import DecimalMark

_SECTION_BYTES = 16 << 20


def read_plain_numbers(
    body: Body,
    indices: Sequence[int],
    *,
    decimal: DecimalMark,
    told: Callable[[float], None],
) -> dict[int, FloatArray] | None:
    """The columns at `indices`, blank lines left out and blank cells NaN.

    None where some cell is anything but a finite number with that decimal mark, or where a row
    has another number of cells than the others.
    """
    import pyarrow as pa  # noqa: PLC0415  # costs more to import than a small file to read
    from pyarrow import csv  # noqa: PLC0415

    records = body.records
    filled = records.cells > 0
    widths = records.cells[filled]
    if records.quoted or not len(widths) or np.any(widths != widths[0]):
        return None
    names = [str(index) for index in range(int(widths[0]))]
    wanted = [names[index] for index in indices]
    options = {
        "parse_options": csv.ParseOptions(
            delimiter=records.delimiter, quote_char=False, ignore_empty_lines=True
        ),
        "convert_options": csv.ConvertOptions(
            column_types=dict.fromkeys(wanted, pa.float64()),
            include_columns=wanted,
            null_values=[""],
            decimal_point=decimal,
        ),
        "read_options": csv.ReadOptions(column_names=names, block_size=_SECTION_BYTES // 8),
    }
    values = {index: np.empty(len(widths)) for index in indices}
    count = 0
    for section in _sections(body):
        try:
            table = csv.read_csv(pa.BufferReader(section), **options)
        except pa.ArrowInvalid:
            return None
        end = count + table.num_rows
        if end > len(widths):
            return None
        for index, name in zip(indices, wanted, strict=True):
            column = table.column(name)
            part = values[index][count:end]
            part[:] = column.to_numpy()
            # A blank cell is NaN; a cell that says so in words is no number.
            if column.null_count != np.count_nonzero(~np.isfinite(part)):
                return None
        count = end
        told(count / len(widths))
    return values if count == len(widths) else None


def _sections(body: Body) -> Iterator[bytes]:
    """The rows of the table, some whole lines at a time. Read, not mapped: mapped pages stay."""
    bounds = body.records.source.bounds
    first, last = int(body.records.lines[0]) - 1, int(body.records.lines[-1])
    with body.records.source.text.path.open("rb") as file:
        file.seek(int(bounds[first]))
        while first < last:
            begin = int(bounds[first])
            stop = int(np.searchsorted(bounds, begin + _SECTION_BYTES, side="right")) - 1
            first = min(max(stop, first + 1), last)
            yield file.read(int(bounds[first]) - begin)
