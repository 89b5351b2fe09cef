"""What the limited process does with a file; pure, and the same without limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from measurements.confined.jobs import Found, Job
from measurements.intake.columns import Problem, Reading, Table
from measurements.intake.samples import sample_of
from measurements.intake.tables import read_table
from measurements.kinds import all_kinds, get_kind
from measurements.kinds.base import Kind, Outcome, Setup
from measurements.kinds.recognition import Candidate, recognise
from measurements.metrics.downsample import downsample

MOST_DEVICES = 100
_DEVICE = "device"


def look(job: Job, *, told: Callable[[str], None]) -> Found:
    """Read the file of a job, check and compute it as far as it goes.

    `told` gets words on how far it is. Raises `OSError` when the file cannot be read at all.
    """
    slug = job.kind
    candidates: tuple[Candidate, ...] = ()
    if not slug or job.names_kinds:
        told("recognising its kind")
        candidates = recognise(job.path, maps=job.maps)
        slug = slug or (candidates[0].kind if candidates else "")
    kind = get_kind(slug) if slug else all_kinds()[0]
    told("reading the file")
    reading = read_table(
        job.path,
        kind.columns,
        file_name=job.file_name,
        maps=job.maps.get(kind.slug, ()),
        problems_kept=job.problems_kept,
        told=lambda share: told(f"reading the file, {share:.0%}"),
    )
    if not slug:
        return _of_no_kind(reading)
    found = Found(
        kind=slug,
        candidates=candidates,
        notes=reading.notes,
        problems=reading.problems,
        problem_count=reading.problem_count,
        evidence=reading.evidence,
    )
    if reading.table is None:
        return found
    found = replace(found, sample=sample_of(reading.table, kind.columns))
    if job.setup is None:
        return found
    return _computed(job, kind, reading.table, job.setup, found=found, told=told)


def _of_no_kind(reading: Reading) -> Found:
    """A file whose headings no kind knows: what was seen, without complaints of any one kind."""
    problem = Problem(
        "The headings are those of no kind of run. Say which kind it is, and which heading is "
        "which column."
    )
    if reading.evidence is None:
        return Found(kind="", problems=reading.problems, problem_count=reading.problem_count)
    return Found(kind="", problems=(problem,), problem_count=1, evidence=reading.evidence)


def _computed(
    job: Job,
    kind: Kind,
    table: Table,
    setup: Setup,
    *,
    found: Found,
    told: Callable[[str], None],
) -> Found:
    told("checking")
    names = [name for name in dict.fromkeys(table.texts.get(_DEVICE, ())) if name]
    if len(names) > MOST_DEVICES:
        problem = Problem(
            f"The table names {len(names)} devices; at most {MOST_DEVICES} are read from one file. "
            "Look for another column under this heading, or split the file.",
            column=_DEVICE,
        )
        return replace(found, problems=(problem,), problem_count=1)
    strangers = tuple(name for name in names if setup.device(name) is None)
    if strangers and not job.takes_strangers:
        return replace(found, strangers=strangers)
    if problems := kind.check(table, setup):
        return replace(found, problems=problems[: job.problems_kept], problem_count=len(problems))
    told("computing")
    return replace(found, outcome=_thinned(kind.measure(table, setup), points=job.trace_points))


def _thinned(outcome: Outcome, *, points: int) -> Outcome:
    """The outcome with a trace for drawing: ten million samples are not sent back."""
    if outcome.plot is None:
        return replace(outcome, trace={})
    return replace(outcome, trace=downsample(outcome.trace, points=points, x=outcome.plot.x))
