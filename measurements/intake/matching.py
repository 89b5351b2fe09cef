"""Headings matched to the columns of a kind.

A heading is matched by its canonical name, by another name of the quantity with a unit
that fits, or, when there is only one possibility in the whole table, by its unit alone.
Names and words have no unit: a column of text is matched by its names only.
Whatever could be read in two ways is a problem for the sender to settle, never a guess.
A column map, which is somebody's word on these very headings, wins over all of it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from measurements.intake import units
from measurements.intake.column_maps import ColumnMap, fingerprint_of
from measurements.intake.columns import Column, Problem
from measurements.intake.decoding import printable
from measurements.intake.headings import Heading, shape_of
from measurements.intake.matches import By, Match, Matching, sentence_part
from measurements.intake.suiting import (
    are_alike,
    are_opposed,
    cell_unit,
    example_of,
    has_its_unit,
    is_called,
    may_be,
    sensor_of,
    unit_by_name,
    unit_in_words,
)

# A name that holds a separator is several headings, split at the wrong character.
_SEPARATORS = re.compile(r"[,;|\t]")


def match_headings(
    headings: Sequence[Heading], columns: Sequence[Column], *, maps: Sequence[ColumnMap] = ()
) -> Matching:
    """Find the column of every heading, and what is missing or could be read in two ways.

    Parameters
    ----------
    headings : sequence of Heading
        In the order of the file; an empty one never matches.
    columns : sequence of Column
        What the kind of run can use.
    maps : sequence of ColumnMap
        The first that is of these headings settles what each of them is.
    """
    matcher = _Matcher(headings, columns)
    applied = _map_of(headings, maps)
    if applied is not None:
        matcher.by_map(applied)
    else:
        matcher.refuse_duplicates()
        matcher.by_canonical_name()
        matcher.by_alias()
        matcher.by_unit_alone()
        matcher.families()
        matcher.ask_of_duplicates()
    matcher.missing()
    return Matching(
        matches=tuple(sorted(matcher.matches, key=lambda match: match.index)),
        problems=tuple(matcher.problems),
        notes=(*matcher.notes, *matcher.left_over()),
        applied=applied,
        asks={index: tuple(names) for index, names in matcher.asks.items()},
    )


def _map_of(headings: Sequence[Heading], maps: Sequence[ColumnMap]) -> ColumnMap | None:
    if not maps:
        return None
    fingerprint = fingerprint_of(shape_of(headings))
    return next((item for item in maps if item.fingerprint == fingerprint), None)


class _Matcher:
    """One pass over the headings; each step takes what it is sure of off the lists."""

    def __init__(self, headings: Sequence[Heading], columns: Sequence[Column]) -> None:
        self.headings = headings
        self.open = {at: item for at, item in enumerate(headings) if units.plain(item.text)}
        self.named = dict(self.open)
        self.single = [column for column in columns if not column.is_family]
        self.family = [column for column in columns if column.is_family]
        self.wanted = {column.name: column for column in self.single}
        self.settled: set[str] = set()  # columns about which something was said already
        self.matches: list[Match] = []
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.asks: dict[int, list[str]] = {}

    def _take(self, index: int, column: Column, *, unit: str | None, by: By) -> None:
        heading = self.open.pop(index)
        self.wanted.pop(column.name)
        self.matches.append(Match(index, heading, column, column.name, unit, by))

    def _problem(self, detail: str, heading: Heading | None = None) -> None:
        column = None if heading is None else printable(heading.text.strip())
        self.problems.append(Problem(detail, column=column))

    def by_map(self, applied: ColumnMap) -> None:
        """Read every heading as the map says, and none by a guess."""
        if applied.name:
            self.notes.append(f"Column map ‘{printable(applied.name, limit=80)}’ applied.")
        taken: set[str] = set()
        for index, assigned in enumerate(applied.columns):
            heading = self.headings[index]
            if assigned is None:
                continue
            column = self._declared(assigned.column)
            if column is None or assigned.column in taken:
                self.notes.append(
                    f"The column map reads {heading.spoken} as ‘{printable(assigned.column)}’, "
                    "which is no column of its own in this kind of run: left unread."
                )
                continue
            taken.add(assigned.column)
            if not may_be(assigned.unit, column):
                self.settled.add(column.name)
                self._problem(
                    f"The column map reads {heading.spoken} {unit_in_words(assigned.unit)}, which "
                    f"cannot be {sentence_part(column.title)}. Choose its unit anew.",
                    heading,
                )
                continue
            self.open.pop(index, None)
            self.wanted.pop(column.name, None)
            self.matches.append(
                Match(index, heading, column, assigned.column, unit_by_name(assigned.unit), "map")
            )

    def _declared(self, name: str) -> Column | None:
        """The column of a canonical name, a family for the name of one of its sensors."""
        if name in self.wanted:
            return self.wanted[name]
        return next((item for item in self.family if name.endswith(item.name[1:])), None)

    def refuse_duplicates(self) -> None:
        counts = Counter(units.plain(item.text).casefold() for item in self.open.values())
        for text, count in counts.items():
            if count > 1:
                heading = next(
                    item for item in self.open.values() if units.plain(item.text).casefold() == text
                )
                self._problem(
                    f"The heading {heading.spoken} stands over {count} columns. "
                    "Rename or remove all but one.",
                    heading,
                )

    def ask_of_duplicates(self) -> None:
        """Each of the headings that are spelled alike could be what one of them was taken for."""
        for match in self.matches:
            spelled = units.plain(match.heading.text).casefold()
            alike = [
                index
                for index, heading in self.named.items()
                if units.plain(heading.text).casefold() == spelled
            ]
            for index in alike if len(alike) > 1 else ():
                self.asks.setdefault(index, []).append(match.name)

    def by_canonical_name(self) -> None:
        for index, heading in list(self.open.items()):
            column = self.wanted.get(units.plain(heading.text).casefold())
            if column is not None:
                self._take(index, column, unit=column.unit, by="name")

    def by_alias(self) -> None:
        fitting: dict[str, list[int]] = {}
        for index, heading in self.open.items():
            for column in self.wanted.values():
                if is_called(heading, column):
                    fitting.setdefault(column.name, []).append(index)
        usable = {
            name: [index for index in found if has_its_unit(self.open[index], self.wanted[name])]
            for name, found in fitting.items()
        }
        claims = Counter(index for found in usable.values() for index in found)
        for name, found in fitting.items():
            column, fit = self.wanted[name], usable[name]
            if len(fit) == 1 and claims[fit[0]] == 1:
                self._take(fit[0], column, unit=cell_unit(self.open[fit[0]], column), by="alias")
                continue
            if fit:
                self._ambiguous(column, fit)
            elif unfit := [index for index in found if not claims[index]]:
                self._unfit(column, unfit)
            else:
                continue  # the heading is another column, this one is missing
            self.settled.add(name)

    def _ambiguous(self, column: Column, fit: list[int]) -> None:
        spoken = " and ".join(self.headings[index].spoken for index in fit)
        title = sentence_part(column.title)
        detail = f"{spoken} could each be {title}."
        if len(fit) == 1:
            detail = f"{spoken} could be {title}, but another column as well."
        self._problem(
            f"{detail} Choose the right one on the page of the file, or name it "
            f"‘{column.name}’ and rename the others.",
            self.headings[fit[0]],
        )
        for index in fit:
            self.asks.setdefault(index, []).append(column.name)
            self.open.pop(index, None)

    def _unfit(self, column: Column, found: list[int]) -> None:
        title, example = sentence_part(column.title), example_of(column)
        for index in found:
            heading = self.open.pop(index, self.headings[index])
            self.asks.setdefault(index, []).append(column.name)
            if not heading.unit_text:
                detail = f"{heading.spoken} names no unit. Write it in the heading: {example}."
            elif heading.unit is None:
                detail = (
                    f"‘{printable(heading.unit_text)}’ in {heading.spoken} is not a unit known "
                    f"here. Write {example}, or another unit of {title}."
                )
            else:
                detail = (
                    f"{heading.spoken}: {units.shown(heading.unit)} is not a unit of {title}. "
                    f"Write {example}, or the unit the instrument really logs."
                )
            self._problem(detail, heading)

    def by_unit_alone(self) -> None:
        for name, column in list(self.wanted.items()):
            if column.is_text or column.unit in ("", "%") or name in self.settled:
                continue
            rivals = [other for other in (*self.single, *self.family) if are_alike(other, column)]
            alike = [
                index
                for index, heading in self.named.items()
                if heading.unit is not None and units.compatible(heading.unit, column.unit)
            ]
            if len(rivals) == 1 and len(alike) > 1:
                self._ask_among(column, alike)
            if len(rivals) != 1 or len(alike) != 1 or alike[0] not in self.open:
                continue
            heading = self.open[alike[0]]
            # A name that is a unit itself comes from a row of units, taken for one heading.
            if units.recognise(heading.name) or _SEPARATORS.search(heading.name):
                continue
            if not are_opposed(heading, column):
                self._take(alike[0], column, unit=heading.unit, by="unit")

    def _ask_among(self, column: Column, alike: list[int]) -> None:
        """Several headings have a needed column's unit and nothing tells them apart."""
        unread = [
            index
            for index in alike
            if index in self.open and not are_opposed(self.open[index], column)
        ]
        if column.required and len(unread) > 1:
            self._ambiguous(column, unread)
            self.settled.add(column.name)

    def families(self) -> None:
        for column in self.family:
            taken = {match.name for match in self.matches}
            for index, heading in list(self.open.items()):
                if heading.unit is None or not units.compatible(heading.unit, column.unit):
                    continue
                if _SEPARATORS.search(heading.name):
                    continue
                name = sensor_of(heading.name) + column.name[1:]
                if name in taken:
                    self._problem(
                        f"{heading.spoken} is the second column named ‘{name}’. Rename one.",
                        heading,
                    )
                    continue
                taken.add(name)
                del self.open[index]
                self.matches.append(Match(index, heading, column, name, heading.unit, "unit"))

    def missing(self) -> None:
        found = ", ".join(item.spoken for item in list(self.named.values())[:30]) or "none"
        families = {match.column.name for match in self.matches if match.column.is_family}
        lacking = [column for column in self.wanted.values() if column.name not in self.settled]
        lacking += [column for column in self.family if column.name not in families]
        for column in lacking:
            if column.required:
                self._problem(
                    f"No column for {sentence_part(column.title)}. Headings found: {found}. "
                    f"Name the column {example_of(column)}."
                )

    def left_over(self) -> tuple[str, ...]:
        spoken = [heading.spoken for heading in self.open.values()]
        if not spoken:
            return ()
        shown = ", ".join(spoken[:30]) + (" and others" if len(spoken) > 30 else "")
        return (f"Not used by this kind of run and left unread: {shown}.",)
