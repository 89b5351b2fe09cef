"""What is gathered while a file is read: its problems, and notes on what was recognised."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from measurements.intake.column_maps import ColumnMap
from measurements.intake.columns import Problem
from measurements.intake.evidence import Evidence

SHOWN_PROBLEMS = 200


class Problems:
    """Problems with their full number; the first `kept` of them are worded."""

    def __init__(self, kept: int = SHOWN_PROBLEMS) -> None:
        self.kept = kept
        self._listed: list[Problem] = []
        self.count = 0

    def add(self, problem: Problem) -> None:
        """Take one more problem."""
        self.count += 1
        self._listed.append(problem)

    def more(self, number: int) -> None:
        """Count problems that are not worded."""
        self.count += number

    def first(self) -> tuple[Problem, ...]:
        """The first of them in the order of the file."""
        return tuple(sorted(self._listed, key=lambda item: item.row or 0)[: self.kept])


def _say_nothing(_share: float) -> None:
    pass


@dataclass(slots=True)
class Draft:
    """A reading in the making.

    `spoken` is the file's name between quotation marks. `maps` are the column maps to try,
    `told` is called with the share that was read, now and then in a long file. `evidence` is
    written as soon as there is any, because reading may end anywhere.
    """

    spoken: str
    maps: Sequence[ColumnMap] = ()
    told: Callable[[float], None] = _say_nothing
    notes: list[str] = field(default_factory=list)
    problems: Problems = field(default_factory=Problems)
    evidence: Evidence | None = None
