"""Headings as people and instruments write them, matched to the columns of a kind.

A heading is matched by its canonical name, by another name of the quantity with a unit
that fits, or, when there is only one possibility in the whole table, by its unit alone.
Names and words have no unit: a column of text is matched by its names only.
Whatever could be read in two ways is a problem for the sender to settle, never a guess.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from measurements.intake import units
from measurements.intake.columns import Column, Problem
from measurements.intake.decoding import printable

_BRACKETS = re.compile(r"(?P<name>.*)\[(?P<unit>[^\[\]]*)\](?P<rest>.*)", re.DOTALL)
_PARENTHESES = re.compile(r"(?P<name>.*)\((?P<unit>[^()]*)\)\s*", re.DOTALL)
_AFTER_COMMA = re.compile(r"(?P<name>.*\S)\s*,(?P<unit>[^,]+)", re.DOTALL)
_AFTER_SLASH = re.compile(r"(?P<name>[^/]*\S)\s*/(?P<unit>[^/]+)", re.DOTALL)
_SUFFIX = re.compile(r"(?P<name>.*[^\W_])_(?P<unit>[^\W_]+|%|°[CF])", re.DOTALL)
_LAST_WORD = re.compile(r"(?P<name>.*\s|)(?P<unit>\S+)", re.DOTALL)
# "Port A", "Sensor K", "Power min": as a last word these are more often no unit. "Vpp" names
# the quantity as often as its unit, and millivolts are then what stands below.
_NO_UNIT_AS_WORD = {"A", "C", "F", "K", "J", "h", "min", "mins", "1", "-", "Vpp"}
_TIME_WORDS = {"time", "t", "elapsed", "duration", "runtime", "zeit", "dauer", "temps", "tiempo"}
# "port_a" is the port called A, not a current.
_LABELLED = {"port", "phase", "channel", "ch", "line", "sensor", "probe", "sample", "unit"}
_LONGEST_HEADING = 200  # characters; anything longer is no heading with a unit
_WORD_GAPS = re.compile(r"[\s_.:\-]+")
_NOT_IN_SLUG = re.compile(r"[\W_]+")
# A name that holds a separator is several headings, split at the wrong character.
_SEPARATORS = re.compile(r"[,;|\t]")
_INWARD = {"in", "input", "mains", "ac", "primary", "pin", "vin", "iin"}
_OUTWARD = {"out", "output", "dc", "secondary", "pout", "vout", "iout"}


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading taken apart.

    `text` is the heading as the file spells it, `name` the quantity. `unit` is the unit
    library's name, or None; `unit_text` is the unit as spelled, so that an unknown unit
    (`unit` None, `unit_text` not empty) and no unit at all can be told apart.
    """

    text: str
    name: str
    unit: str | None = None
    unit_text: str = ""

    @property
    def spoken(self) -> str:
        """The heading between quotation marks, safe to print."""
        return f"‘{printable(self.text.strip())}’"


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
    by: Literal["name", "alias", "unit"]

    @property
    def title(self) -> str:
        """What a person calls the column, within a sentence."""
        return self.name if self.column.is_family else _sentence_part(self.column.title)

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
    """What the headings of a file are: complete when `problems` is empty."""

    matches: tuple[Match, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]


def _sentence_part(title: str) -> str:
    return title if title[:2].isupper() else title[:1].lower() + title[1:]


@lru_cache(maxsize=4096)  # the same few names are asked for with every line of every file
def _words(name: str) -> str:
    return _WORD_GAPS.sub(" ", units.plain(name).casefold()).strip()


def _marked_unit(_name: str, unit: str) -> str | None:
    return units.recognise(unit) or None  # "Voltage (1)" is a channel, not a ratio


def _suffix_unit(name: str, suffix: str) -> str | None:
    if suffix == "min" and not _TIME_WORDS & set(_words(name).split()):
        return None  # power_min is a minimum, time_min is in minutes
    if len(suffix) == 1 and _words(name).rpartition(" ")[2] in _LABELLED:
        return None
    return units.recognise(suffix) or units.recognise_suffix(suffix)


def _word_unit(_name: str, word: str) -> str | None:
    return None if word in _NO_UNIT_AS_WORD else units.recognise(word)


# Tried in this order: the clearest mark of a unit first.
_UNIT_AT_END: tuple[tuple[re.Pattern[str], Callable[[str, str], str | None]], ...] = (
    (_PARENTHESES, _marked_unit),
    (_AFTER_COMMA, _marked_unit),
    (_AFTER_SLASH, _marked_unit),
    (_SUFFIX, _suffix_unit),
    (_LAST_WORD, _word_unit),
)


def parse_heading(text: str) -> Heading:
    """Take a heading apart into name and unit.

    Understood are ``Power [mW]``, ``Zeit (min)``, ``Input power, W``, ``Vbus/V``,
    ``input_power_w`` and ``Ambient °C``; in square brackets stands always a unit, known or
    not, elsewhere only what is a known unit is one.
    """
    clean = units.plain(text)
    if len(clean) > _LONGEST_HEADING:
        return Heading(text, clean)
    if found := _BRACKETS.fullmatch(clean):
        name = f"{found['name'].strip()} {found['rest'].strip()}".strip()
        return Heading(text, name, units.recognise(found["unit"]), found["unit"].strip())
    for pattern, unit_of in _UNIT_AT_END:
        found = pattern.fullmatch(clean)
        if found and found["unit"].strip():
            unit = unit_of(found["name"].strip(), found["unit"].strip())
            if unit is not None:
                return Heading(text, found["name"].strip(), unit, found["unit"].strip())
    return Heading(text, clean)


def with_unit(heading: Heading, unit_text: str) -> Heading:
    """The heading completed by its cell of a row of units; its own unit stands."""
    if heading.unit_text or not unit_text.strip(" []()"):
        return heading
    spelled = unit_text.strip(" []()")
    return replace(heading, unit=units.recognise(spelled), unit_text=spelled)


def match_headings(headings: Sequence[Heading], columns: Sequence[Column]) -> Matching:
    """Find the column of every heading, and what is missing or could be read in two ways.

    Parameters
    ----------
    headings : sequence of Heading
        In the order of the file; an empty one never matches.
    columns : sequence of Column
        What the kind of run can use.
    """
    matcher = _Matcher(headings, columns)
    matcher.refuse_duplicates()
    matcher.by_canonical_name()
    matcher.by_alias()
    matcher.by_unit_alone()
    matcher.families()
    matcher.missing()
    return Matching(
        matches=tuple(sorted(matcher.matches, key=lambda match: match.index)),
        problems=tuple(matcher.problems),
        notes=matcher.left_over(),
    )


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

    def _take(
        self, index: int, column: Column, *, unit: str | None, by: Literal["name", "alias", "unit"]
    ) -> None:
        heading = self.open.pop(index)
        self.wanted.pop(column.name)
        self.matches.append(Match(index, heading, column, column.name, unit, by))

    def _problem(self, detail: str, heading: Heading | None = None) -> None:
        column = None if heading is None else printable(heading.text.strip())
        self.problems.append(Problem(detail, column=column))

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

    def by_canonical_name(self) -> None:
        for index, heading in list(self.open.items()):
            column = self.wanted.get(units.plain(heading.text).casefold())
            if column is not None:
                self._take(index, column, unit=column.unit, by="name")

    def by_alias(self) -> None:
        fitting: dict[str, list[int]] = {}
        for index, heading in self.open.items():
            for column in self.wanted.values():
                if _is_called(heading, column):
                    fitting.setdefault(column.name, []).append(index)
        usable = {
            name: [index for index in found if _fits(self.open[index], self.wanted[name])]
            for name, found in fitting.items()
        }
        claims = Counter(index for found in usable.values() for index in found)
        for name, found in fitting.items():
            column, fit = self.wanted[name], usable[name]
            if len(fit) == 1 and claims[fit[0]] == 1:
                self._take(fit[0], column, unit=_cell_unit(self.open[fit[0]], column), by="alias")
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
        title = _sentence_part(column.title)
        detail = f"{spoken} could each be {title}."
        if len(fit) == 1:
            detail = f"{spoken} could be {title}, but another column as well."
        self._problem(
            f"{detail} Name the right one ‘{column.name}’ and rename the others.",
            self.headings[fit[0]],
        )
        for index in fit:
            self.open.pop(index, None)

    def _unfit(self, column: Column, found: list[int]) -> None:
        title, example = _sentence_part(column.title), _example(column)
        for index in found:
            heading = self.open.pop(index, self.headings[index])
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
            rivals = [other for other in (*self.single, *self.family) if _alike(other, column)]
            alike = [
                index
                for index, heading in self.named.items()
                if heading.unit is not None and units.compatible(heading.unit, column.unit)
            ]
            if len(rivals) != 1 or len(alike) != 1 or alike[0] not in self.open:
                continue
            heading = self.open[alike[0]]
            # A name that is a unit itself comes from a row of units, taken for one heading.
            if units.recognise(heading.name) or _SEPARATORS.search(heading.name):
                continue
            if not _opposed(heading, column):
                self._take(alike[0], column, unit=heading.unit, by="unit")

    def families(self) -> None:
        for column in self.family:
            taken = {match.name for match in self.matches}
            for index, heading in list(self.open.items()):
                if heading.unit is None or not units.compatible(heading.unit, column.unit):
                    continue
                if _SEPARATORS.search(heading.name):
                    continue
                name = _slug(heading.name) + column.name[1:]
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
                    f"No column for {_sentence_part(column.title)}. Headings found: {found}. "
                    f"Name the column {_example(column)}."
                )

    def left_over(self) -> tuple[str, ...]:
        spoken = [heading.spoken for heading in self.open.values()]
        if not spoken:
            return ()
        shown = ", ".join(spoken[:30]) + (" and others" if len(spoken) > 30 else "")
        return (f"Not used by this kind of run and left unread: {shown}.",)


def _is_called(heading: Heading, column: Column) -> bool:
    """Whether the heading is a name of the column; of a column of text, the whole heading."""
    if column.is_text:
        names, given = (column.name, column.title, *column.aliases), heading.text
    else:
        stem = parse_heading(column.name).name
        names, given = (column.name, stem, column.title, *column.aliases), heading.name
    return _words(given) in map(_words, names)


def _fits(heading: Heading, column: Column) -> bool:
    if column.is_text:
        return True
    if heading.unit_text:
        return heading.unit is not None and units.compatible(heading.unit, column.unit)
    # Clock stamps carry their unit in the cells.
    return column.unit == "" or units.compatible(column.unit, "s")


def _cell_unit(heading: Heading, column: Column) -> str | None:
    if column.is_text or (heading.unit is None and column.unit == ""):
        return ""
    return heading.unit


def _alike(first: Column, second: Column) -> bool:
    return units.compatible(first.unit, second.unit)


def _opposed(heading: Heading, column: Column) -> bool:
    """Whether one speaks of the input and the other of the output."""
    said = set(_words(heading.name).split())
    meant = set(_words(f"{column.name} {column.title}").split())
    return bool((said & _INWARD and meant & _OUTWARD) or (said & _OUTWARD and meant & _INWARD))


def _example(column: Column) -> str:
    if column.is_family:
        return f"‘sensor{column.name[1:]}’ with the sensor's own name in front"
    unit = f" or ‘{column.title} [{units.shown(column.unit)}]’" if column.unit else ""
    return f"‘{column.name}’{unit}"


def _slug(name: str) -> str:
    return _NOT_IN_SLUG.sub("_", units.plain(name).casefold()).strip("_") or "sensor"
