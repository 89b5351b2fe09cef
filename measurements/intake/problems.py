"""What is gathered while a file is read: its problems, and notes on what was recognised."""

from __future__ import annotations

from dataclasses import dataclass, field

from measurements.intake.columns import Problem

SHOWN_PROBLEMS = 200


class Problems:
    """Problems with their full number; at most the first 200 are kept."""

    def __init__(self) -> None:
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
        return tuple(sorted(self._listed, key=lambda item: item.row or 0)[:SHOWN_PROBLEMS])


@dataclass(frozen=True, slots=True)
class Draft:
    """A reading in the making. `spoken` is the file's name between quotation marks."""

    spoken: str
    notes: list[str] = field(default_factory=list)
    problems: Problems = field(default_factory=Problems)
