"""What is asked of the limited process, and what it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from measurements.intake.column_maps import ColumnMap
from measurements.intake.columns import Problem
from measurements.intake.evidence import Evidence, Sample
from measurements.intake.problems import SHOWN_PROBLEMS
from measurements.kinds.base import Outcome, Setup
from measurements.kinds.recognition import Candidate


@dataclass(frozen=True, slots=True)
class Limits:
    """What one file may take: memory [byte] and computing time [s]."""

    memory_bytes: int
    cpu_s: int


@dataclass(frozen=True, slots=True)
class Job:
    """A file to read, and under which conditions to compute it.

    `kind` is the kind's slug, "" to recognise it from the columns; with `names_kinds` the kinds
    that the file might be are told in any case. Without a `setup` the table
    is read and nothing computed. `maps` are the column maps to try, by kind. The trace is thinned
    to `trace_points`. Devices that a table names and the setup does not hold stop the job, unless
    `takes_strangers`.
    """

    path: Path
    file_name: str
    kind: str = ""
    setup: Setup | None = None
    maps: Mapping[str, tuple[ColumnMap, ...]] = field(default_factory=dict)
    trace_points: int = 2000
    problems_kept: int = SHOWN_PROBLEMS
    takes_strangers: bool = False
    names_kinds: bool = False


@dataclass(frozen=True, slots=True)
class Found:
    """What a file holds.

    `kind` is the one it was read as, "" when it fits none; `candidates` are those that it fits,
    where none was said. `problems` are the first of `problem_count`. `strangers` are devices that
    the table names and nobody knows: nothing was checked or computed then. `outcome` is None
    where there are problems, strangers or no setup.
    """

    kind: str
    candidates: tuple[Candidate, ...] = ()
    notes: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    problem_count: int = 0
    evidence: Evidence | None = None
    sample: Sample | None = None
    strangers: tuple[str, ...] = ()
    outcome: Outcome | None = None


class Exhausted(Exception):
    """A file was too much for the limits. The text says so and what to do."""

    def __init__(self, what: Literal["memory", "time"], limits: Limits) -> None:
        self.what = what
        needs = (
            f"more than {limits.memory_bytes >> 20} MiB of memory"
            if what == "memory"
            else f"more than {limits.cpu_s} s of computing time"
        )
        super().__init__(
            f"Reading and computing the file takes {needs}. Split the log, or leave out columns "
            "that are not needed; whoever runs the site can raise the limit."
        )
