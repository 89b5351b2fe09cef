"""A column map: how a bench reads the files of one shape, as somebody once settled it.

The shape of a file is its headings, in order, with the row of units below them. A map says for
each heading which column it is and in which unit, or that it is left unread; and what else the
file itself leaves open: the decimal mark, the worksheet.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from measurements.intake import units
from measurements.intake.evidence import DecimalMark


@dataclass(frozen=True, slots=True)
class Assigned:
    """What a heading is read as.

    `column` is the canonical name, of the sensor for a family (``top_c``); `unit` the unit
    library's name of the unit of the cells, None for clock stamps, "" where there is none.
    """

    column: str
    unit: str | None


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """How the columns of files with these `headings` are read.

    `headings` are pairs of heading and cell of the row of units ("" without such a row), as the
    file spells them; `columns` has one entry a heading, None for one that is left unread.
    `decimal` and `sheet` are empty where the file leaves nothing open. `name` is what the bench
    calls the map.
    """

    headings: tuple[tuple[str, str], ...]
    columns: tuple[Assigned | None, ...]
    decimal: DecimalMark = ""
    sheet: str = ""
    name: str = ""

    def __post_init__(self) -> None:
        if len(self.headings) != len(self.columns):
            raise ValueError("A column map says something of every heading, and of no other.")

    @property
    def fingerprint(self) -> str:
        """SHA-256 (hex) of the shape."""
        return fingerprint_of(self.headings)

    def as_json(self) -> dict[str, Any]:
        """All but the name, as plain JSON."""
        return {
            "headings": [list(pair) for pair in self.headings],
            "columns": [
                None if item is None else {"column": item.column, "unit": item.unit}
                for item in self.columns
            ],
            "decimal": self.decimal,
            "sheet": self.sheet,
        }

    @classmethod
    def from_json(cls, content: Mapping[str, Any], *, name: str = "") -> ColumnMap:
        """The map that `as_json` wrote out. Raises `ValueError`, `KeyError` or `TypeError`."""
        return cls(
            headings=tuple((str(text), str(unit)) for text, unit in content["headings"]),
            columns=tuple(
                None if item is None else Assigned(str(item["column"]), item["unit"])
                for item in content["columns"]
            ),
            decimal=cast(DecimalMark, content.get("decimal", "")),
            sheet=str(content.get("sheet", "")),
            name=name,
        )


def fingerprint_of(headings: Sequence[tuple[str, str]]) -> str:
    """SHA-256 (hex) of headings and row of units; look-alike characters and case do not count."""
    shape = [[units.plain(text).casefold(), units.plain(unit)] for text, unit in headings]
    return hashlib.sha256(json.dumps(shape, ensure_ascii=True).encode("ascii")).hexdigest()
