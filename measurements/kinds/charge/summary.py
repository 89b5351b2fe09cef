"""A charge in words and as plain data: its stages, and what befell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from itertools import pairwise
from typing import Any

from measurements.kinds.base import DeviceFacts, Listing
from measurements.kinds.charge.curves import curves_of
from measurements.kinds.charge.happenings import Happenings, Span
from measurements.kinds.charge.level import Level
from measurements.kinds.charge.milestones import Milestones
from measurements.kinds.charge.record import Record
from measurements.metrics.stages import Stage

_MOST_PARTS_IN_A_SENTENCE = 8


def minutes(seconds: float) -> str:
    """A moment or length [s] as text in minutes."""
    return f"{seconds / 60:.1f} min"


def shape_of(stage: Stage) -> str:
    """How the power goes over a stage, in one word."""
    if stage.steady:
        return "steady"
    return "rising" if stage.slope > 0 else "falling"


def length_of(seconds: float) -> str:
    """A length [s] as text, in seconds under two minutes: ``12 s``, ``7 min``."""
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def sentence_of(happenings: Happenings) -> str:
    """Stages and what parts them in the order of time: “12 min at 87 W, then …”; empty without.

    A gap and a drop-out that lie between two stages are parts of their own.
    """
    stages = happenings.stages
    if not stages:
        return ""
    parts = [(stage.start, _part(stage)) for stage in stages]
    parts += _between(happenings.gaps, stages=stages, words="a gap of")
    parts += _between(happenings.dropouts, stages=stages, words="no power for")
    texts = [text for _, text in sorted(parts)]
    told, rest = texts[:_MOST_PARTS_IN_A_SENTENCE], len(texts) - _MOST_PARTS_IN_A_SENTENCE
    if rest > 0:
        told.append(f"{rest} more stages and pauses" if rest > 1 else texts[-1])
    return ", then ".join(told) + "."


def facts_of(
    record: Record,
    *,
    device: DeviceFacts,
    level: Level,
    milestones: Milestones,
    happenings: Happenings,
) -> dict[str, Any]:
    """What other computations may read; all times [s] from the start of the charge."""
    return {
        "device": device.slug,
        "start_level": level.start(record) if level.source == "battery" else None,
        "end_level": level.end() if level.source == "battery" else None,
        "level_from": level.source or None,
        "pace": None if milestones.pace is None else asdict(milestones.pace),
        "milestones": {f"{item.percent:g}": item.time_s for item in milestones.reached},
        "stages": [
            {"start_s": stage.start, "end_s": stage.end, "mean_w": stage.mean}
            for stage in happenings.steady
        ],
        "ramps": [
            {
                "start_s": stage.start,
                "end_s": stage.end,
                "from_w": stage.first,
                "to_w": stage.last,
            }
            for stage in happenings.stages
            if not stage.steady
        ],
        "gaps": [list(span) for span in happenings.gaps],
        "dropouts": [list(span) for span in happenings.dropouts],
        "steps": [
            {"at_s": step.time, "from_v": step.before, "to_v": step.after}
            for step in happenings.steps
        ],
        "curves": curves_of(record, level=level),
    }


def listings_of(happenings: Happenings) -> tuple[Listing, ...]:
    """The stages, and the marks of the record; a listing without rows is left out."""
    listings = (
        Listing(
            key="stages",
            title="Stages of the charge",
            headings=("From [min]", "To [min]", "Power", "Mean [W]", "Spread [W]"),
            rows=tuple(
                (
                    f"{stage.start / 60:.1f}",
                    f"{stage.end / 60:.1f}",
                    shape_of(stage),
                    f"{stage.mean:.2f}",
                    f"{stage.spread:.2f}",
                )
                for stage in happenings.stages
            ),
            numeric=(0, 1, 3, 4),
            note=sentence_of(happenings),
        ),
        Listing(
            key="marks",
            title="Gaps, drop-outs and voltage steps",
            headings=("From [min]", "To [min]", "What happened"),
            rows=_marks(happenings),
            numeric=(0, 1),
            note="Nothing is computed across a gap.",
        ),
    )
    return tuple(listing for listing in listings if listing.rows)


def _part(stage: Stage) -> str:
    length = f"{(stage.end - stage.start) / 60:.0f} min"
    if stage.steady:
        return f"{length} at {stage.mean:.3g} W"
    return f"{length} {shape_of(stage)} from {stage.first:.3g} to {stage.last:.3g} W"


def _between(
    spans: Sequence[Span], *, stages: Sequence[Stage], words: str
) -> list[tuple[float, str]]:
    """Those spans [s] that part one stage from the next, with their moment [s]."""
    return [
        (start, f"{words} {length_of(stop - start)}")
        for start, stop in spans
        if any(one.end <= start and stop <= other.start for one, other in pairwise(stages))
    ]


def _marks(happenings: Happenings) -> tuple[tuple[str, str, str], ...]:
    marks = [
        *((*span, "gap: no readings") for span in happenings.gaps),
        *((*span, "drop-out: no power") for span in happenings.dropouts),
        *(
            (step.time, step.time, f"voltage step from {step.before:.2f} to {step.after:.2f} V")
            for step in happenings.steps
        ),
    ]
    return tuple(
        (f"{start / 60:.2f}", f"{stop / 60:.2f}", what) for start, stop, what in sorted(marks)
    )
