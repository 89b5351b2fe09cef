"""The headings of a file with what each was taken for, as evidence for a person."""

from __future__ import annotations

from collections.abc import Sequence

from measurements.intake.evidence import HeadingSeen
from measurements.intake.headings import Heading
from measurements.intake.matches import Matching

_LONGEST_EXAMPLE = 60


def headings_seen(
    headings: Sequence[Heading], matching: Matching | None, examples: Sequence[str] = ()
) -> tuple[HeadingSeen, ...]:
    """Every heading in order; `examples` are the cells of the first row below them."""
    read = {match.index: match for match in matching.matches} if matching else {}
    asks = matching.asks if matching else {}
    seen = []
    for index, heading in enumerate(headings):
        match = read.get(index)
        example = examples[index].strip() if index < len(examples) else ""
        seen.append(
            HeadingSeen(
                text=heading.text.strip(),
                unit_text=heading.below,
                unit=heading.unit or "",
                column=match.name if match else "",
                read_unit=match.unit if match else None,
                by=match.by if match else "",
                could_be=tuple(asks.get(index, ())),
                example=example[:_LONGEST_EXAMPLE],
            )
        )
    return tuple(seen)
