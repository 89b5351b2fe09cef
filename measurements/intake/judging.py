"""What is judged of a column whatever the format: bounds, blanks, and whether its type fits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from measurements.intake import units
from measurements.intake.cells import BLANKS
from measurements.intake.columns import Column, FloatArray
from measurements.intake.decoding import printable
from measurements.intake.matches import Match

# A bound is inclusive, and a unit conversion may cost the last digits.
_BOUND_TOLERANCE = 1e-9


def outside(values: FloatArray, column: Column) -> NDArray[np.bool_]:
    """Which values are beyond the bounds of the column; NaN is not."""
    beyond = np.zeros(len(values), dtype=np.bool_)
    if column.minimum is not None:
        beyond |= values < column.minimum - _BOUND_TOLERANCE * max(1.0, abs(column.minimum))
    if column.maximum is not None:
        beyond |= values > column.maximum + _BOUND_TOLERANCE * max(1.0, abs(column.maximum))
    return beyond


def outside_cell(text: str, *, value: float, match: Match) -> str:
    """What is wrong with a cell whose `value`, in the column's unit, is beyond its bounds."""
    column = match.column
    unit = units.shown(column.unit) if column.unit else ""
    if column.minimum is None:
        bounds = f"at most {column.maximum:g}"
    elif column.maximum is None:
        bounds = f"at least {column.minimum:g}"
    else:
        bounds = f"from {column.minimum:g} to {column.maximum:g}"
    hint = "Check the cell and the unit in the heading."
    for factor, words in ((1e-3, "A thousandth"), (1e3, "A thousand times as much")):
        if not outside(np.array([value * factor]), column)[0]:
            hint = f"{words} would be possible: check the unit in the heading."
            break
    return (
        f"‘{printable(text.strip(BLANKS))}’ is {value:g} {unit}".rstrip()
        + f", but {match.title} is always {bounds} {unit}".rstrip()
        + f". {hint}"
    )


def no_unit(match: Match) -> str:
    """What to do about a column of numbers whose heading names no unit."""
    return (
        f"{match.heading.spoken} names no unit, and its cells are no clock stamps. "
        f"Write the unit in the heading: ‘{match.column.name}’."
    )


def counted_from_first(match: Match) -> str:
    """The note on a column of clock stamps."""
    return f"The clock stamps of {match.heading.spoken} are counted from the first."


def no_stamp(text: str) -> str:
    """What is wrong with a cell of a column of clock stamps."""
    return (
        f"‘{printable(text.strip(BLANKS))}’ is not a clock stamp like the first of its column. "
        "Write all of them as 2026-01-31T14:05:00 or as 14:05:00, with or without zone alike."
    )
