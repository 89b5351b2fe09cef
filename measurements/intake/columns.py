"""What a table must hold: columns in canonical units, and what reading one gives.

A kind of run declares its columns with these classes; the reader fills a `Table` with them.
Everything past this point works on float arrays in the canonical unit of each column.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from measurements.intake.evidence import Evidence

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Column:
    """One canonical column, or a family of columns when `name` starts with ``*``.

    Parameters
    ----------
    name : str
        Canonical heading, unit as suffix: ``input_power_w``. ``*_c`` matches every
        heading in degrees Celsius that no other column claims; the part before the
        suffix names the sensor.
    title : str
        What a person calls it: "Input power".
    unit : str
        Unit as the unit library spells it: ``W``, ``V``, ``degC``, ``s``, ``%`` or ``""``.
    required : bool
        Whether a file without it is refused.
    aliases : tuple of str
        Other names of the quantity, lower case, without unit: ``("power", "p in")``.
    minimum, maximum : float or None
        Physically possible range in `unit`, inclusive; a cell outside is a problem.
    type : str
        ``number``, or ``text`` for names and words, which have no unit; the cells of a text
        column are kept as written, without the blanks around them.
    """

    name: str
    title: str
    unit: str
    required: bool = True
    aliases: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    type: Literal["number", "text"] = "number"

    @property
    def is_family(self) -> bool:
        """Whether the column stands for any number of sensors."""
        return self.name.startswith("*")

    @property
    def is_text(self) -> bool:
        """Whether the cells are names and words, which have no unit."""
        return self.type == "text"


@dataclass(frozen=True, slots=True)
class Problem:
    """Something in a file that keeps it from being computed.

    `row` is the line of the file as a text editor counts it (1 = first line), the row of a
    worksheet, or, in a file without lines, the row of values; `column` is the heading as the
    file spells it. Either is None when the problem has no place.
    `detail` says what is wrong and what to do.
    """

    detail: str
    row: int | None = None
    column: str | None = None

    def as_json(self) -> dict[str, int | str | None]:
        """The shape of the public contract."""
        return {"row": self.row, "column": self.column, "detail": self.detail}


@dataclass(frozen=True, slots=True)
class Table:
    """A table that was read: canonical column name → values in the canonical unit.

    Optional columns that the file does not have are absent. A blank optional cell is NaN, or
    "" in a column of text. `rows` holds the row of the file of every value, as in `Problem`, for
    messages; `texts` the columns of text, by canonical name.
    """

    columns: Mapping[str, FloatArray]
    rows: IntArray
    texts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.rows)

    def __contains__(self, name: str) -> bool:
        return name in self.columns or name in self.texts

    def __getitem__(self, name: str) -> FloatArray:
        return self.columns[name]


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of reading a file: a table, or the problems that kept it from being one.

    `notes` are sentences about what was recognised (encoding, separator, which heading
    became which column and how it was converted), shown on the run's page.
    `problem_count` is the full number; `problems` holds the first of them, as many as the
    reader was asked to word. `evidence` is how the file was understood, also where that did not
    make a table of it; None where nothing was.
    """

    table: Table | None
    problems: tuple[Problem, ...] = ()
    problem_count: int = 0
    notes: tuple[str, ...] = field(default=())
    evidence: Evidence | None = None
