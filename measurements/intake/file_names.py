"""Patterns by which the name of a file says what was measured.

``{adapter}_{kind}_{mains_v}V_{port}.csv``: what stands in braces is a field of the upload, ``*``
is anything that says nothing, all else stands in the name as written, whatever its capitals. The
ending may be left out.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import PurePosixPath

LONGEST_PATTERN = 200
LONGEST_NAME = 255
MOST_PARTS = 41

_PART = re.compile(r"\{([^{}]*)\}|(\*)|([^{}*]+)|(.)", re.DOTALL)
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")
_ENDING = re.compile(r"\.[A-Za-z][A-Za-z0-9]{0,9}$")
_ANYTHING = ""


class PatternError(ValueError):
    """A pattern that cannot be used. The text says why and what to do."""


@dataclass(frozen=True, slots=True)
class _Part:
    """Text that stands as it is, or a field (``""`` for what says nothing)."""

    literal: str = ""
    field: str | None = None


@dataclass(frozen=True, slots=True)
class Pattern:
    """A pattern taken apart. `numbers` are the fields that are numbers."""

    text: str
    parts: tuple[_Part, ...]
    numbers: frozenset[str]

    @classmethod
    def parse(cls, text: str, *, fields: Collection[str], numbers: Collection[str]) -> Pattern:
        """Take a pattern apart.

        Parameters
        ----------
        text : str
            As a person writes it.
        fields, numbers : collection of str
            The fields that there are, and those of them that are numbers.

        Raises
        ------
        PatternError
            It names a field that there is not, or cannot be read in one way only.
        """
        text = text.strip()
        if len(text) > LONGEST_PATTERN:
            raise PatternError(f"A pattern has at most {LONGEST_PATTERN} characters.")
        if not text.isprintable() or "/" in text or "\\" in text:
            raise PatternError("A pattern is the name alone: no folders, no control characters.")
        parts = tuple(_parts(text))
        named = [part.field for part in parts if part.field]
        if not named:
            raise PatternError(
                "The pattern says nothing: put at least one field in braces, such as {mains_v}."
            )
        if unknown := [name for name in named if name not in fields]:
            raise PatternError(
                f"There is no field {{{unknown[0]}}}. There are: {', '.join(sorted(fields))}."
            )
        if twice := [name for name in named if named.count(name) > 1]:
            raise PatternError(f"{{{twice[0]}}} stands there twice. Keep one.")
        for first, second in pairwise(parts):
            if first.field is not None and second.field is not None:
                raise PatternError(
                    "Two parts follow each other without anything between them, so that nobody "
                    "can tell where one ends. Put what stands between them in the name."
                )
        if len(parts) > MOST_PARTS:
            raise PatternError("The pattern has too many parts. Leave out what says nothing: *.")
        return cls(text, parts, frozenset(numbers) & set(named))

    @property
    def certainty(self) -> int:
        """How much of a name it fixes; of several that fit, the one that fixes most counts."""
        return sum(len(part.literal) for part in self.parts)

    def read(self, file_name: str) -> Mapping[str, str] | None:
        """What the name says by field, None when it is not of this pattern.

        Where it could be read in several ways, texts end as early as they can and numbers as
        late. Numbers come with a decimal point.
        """
        name = PurePosixPath(file_name.replace("\\", "/")).name
        if len(name) > LONGEST_NAME or not name.isprintable():
            return None
        stem = _ENDING.sub("", name)
        for text in dict.fromkeys((stem, name)):
            found = _Search(self, text).fields()
            if found is not None:
                return {
                    field: part.replace(",", ".") if field in self.numbers else part
                    for field, part in found.items()
                    if field != _ANYTHING
                }
        return None


def _parts(text: str) -> Iterator[_Part]:
    for found in _PART.finditer(text):
        field, anything, literal, brace = found.groups()
        if brace is not None:
            raise PatternError("A brace has no partner. Write a field as {mains_v}.")
        if literal is not None:
            yield _Part(literal=literal)
        else:
            yield _Part(field=_ANYTHING if anything else field.strip())


class _Search:
    """One name against one pattern; every place is tried once, so time is bounded."""

    def __init__(self, pattern: Pattern, name: str) -> None:
        self._parts = pattern.parts
        self._numbers = pattern.numbers
        self._name = name
        self._ends = lru_cache(maxsize=None)(self._ends_from)

    def fields(self) -> dict[str, str] | None:
        """Field → its text, None when the name is not of the pattern."""
        if self._ends(0, 0) is None:
            return None
        found: dict[str, str] = {}
        at = 0
        for index, part in enumerate(self._parts):
            end = self._ends(index, at)
            assert end is not None
            if part.field is not None:
                found[part.field] = self._name[at:end].strip()
            at = end
        return found

    def _ends_from(self, index: int, at: int) -> int | None:
        """Where part `index` ends if it begins `at` and all that follows fits; None if never."""
        for end in self._possible(self._parts[index], at):
            if index + 1 == len(self._parts):
                if end == len(self._name):
                    return end
            elif self._ends(index + 1, end) is not None:
                return end
        return None

    def _possible(self, part: _Part, at: int) -> Iterator[int]:
        if part.field is None:
            end = at + len(part.literal)
            if self._name[at:end].casefold() == part.literal.casefold():
                yield end
        elif part.field in self._numbers:
            found = _NUMBER.match(self._name, at)
            for end in range(found.end() if found else at, at, -1):
                if _NUMBER.fullmatch(self._name, at, end):
                    yield end
        else:
            yield from range(at + (part.field != _ANYTHING), len(self._name) + 1)
