"""A heading that is a column, and what all headings of a file were taken for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from measurements.intake import units
from measurements.intake.column_maps import ColumnMap
from measurements.intake.columns import Column, Problem
from measurements.intake.headings import Heading

By = Literal["name", "alias", "unit", "map"]


@dataclass(frozen=True, slots=True)
class Match:
    """A heading that is a column.

    `index` counts the headings from 0; `name` is the canonical name, of the sensor for a
    family; `unit` is the unit of the cells, None when the heading names none and the cells
    must be clock stamps, "" in a column of text.
    """

    index: int
    heading: Heading
    column: Column
    name: str
    unit: str | None
    by: By

    @property
    def title(self) -> str:
        """What a person calls the column, within a sentence."""
        return self.name if self.column.is_family else sentence_part(self.column.title)

    @property
    def note(self) -> str:
        """How the heading was read, as a sentence."""
        wanted = units.shown(self.column.unit)
        as_unit = f"in {wanted}"
        if self.column.is_text:
            as_unit = "as text"
        elif self.unit is None:
            as_unit = "as clock stamps"
        elif self.unit != self.column.unit:
            as_unit = f"{units.shown(self.unit)} → {wanted}"
        elif not self.column.unit:
            as_unit = "without unit"
        alone = self.by == "unit" and not self.column.is_family
        reason = " (by its unit alone)" if alone else ""
        return f"{self.heading.spoken} read as {self.title}, {as_unit}{reason}."


@dataclass(frozen=True, slots=True)
class Matching:
    """What the headings of a file are: complete when `problems` is empty.

    `applied` is the column map by which they were read. `asks` are the headings, by index, that
    could be one of several columns, share one with others or have no unit of theirs, and which
    columns.
    """

    matches: tuple[Match, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]
    applied: ColumnMap | None = None
    asks: Mapping[int, tuple[str, ...]] = field(default_factory=dict)


def sentence_part(title: str) -> str:
    """The title of a column as it stands within a sentence."""
    return title if title[:2].isupper() else title[:1].lower() + title[1:]
