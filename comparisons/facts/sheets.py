"""What a fact sheet is made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from comparisons.facts.order import OPTIONAL, SECTIONS
from comparisons.queries.placements import Placement


@dataclass(frozen=True, slots=True)
class Source:
    """Where a fact can be looked up: ``run of 12 March 2026`` and the path of that page."""

    words: str
    path: str


@dataclass(frozen=True, slots=True)
class Fact:
    """A sentence with its number and condition; `place` is the sentence on where that stands.

    `care` are sentences that belong to it wherever it is quoted. `placed` is the value that it
    is about, where it is about one. A fact without a source says what is missing, counts others
    or warns.
    """

    text: str
    place: str = ""
    care: tuple[str, ...] = ()
    sources: tuple[Source, ...] = ()
    placed: Placement | None = field(default=None, compare=False, repr=False)

    @property
    def sentences(self) -> str:
        """Everything that it says, as one paragraph."""
        return " ".join(part for part in (self.text, self.place, *self.care) if part)


@dataclass(frozen=True, slots=True)
class Section:
    """The facts under one title; at least one, if only that nothing was measured."""

    key: str
    facts: tuple[Fact, ...]

    @property
    def title(self) -> str:
        """Its heading."""
        return SECTIONS[self.key]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole sheet at its address: `notes` say how its words are meant."""

    title: str
    path: str
    sections: tuple[Section, ...]
    notes: tuple[str, ...]


def in_order(
    facts: Mapping[str, Sequence[Fact]], *, order: Sequence[str], missing: str
) -> tuple[Section, ...]:
    """The sections in that order. One without facts says `missing`; the optional one goes."""
    return tuple(
        Section(key, tuple(facts.get(key, ())) or (Fact(missing),))
        for key in order
        if facts.get(key) or key != OPTIONAL
    )
