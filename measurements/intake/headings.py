"""Headings as people and instruments write them, taken apart into name and unit."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from measurements.intake import units
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


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading taken apart.

    `text` is the heading as the file spells it, `name` the quantity. `unit` is the unit
    library's name, or None; `unit_text` is the unit as spelled, so that an unknown unit
    (`unit` None, `unit_text` not empty) and no unit at all can be told apart. `below` is its cell
    of a row of units, as the file spells it.
    """

    text: str
    name: str
    unit: str | None = None
    unit_text: str = ""
    below: str = ""

    @property
    def spoken(self) -> str:
        """The heading between quotation marks, safe to print."""
        return f"‘{printable(self.text.strip())}’"


@lru_cache(maxsize=4096)  # the same few names are asked for with every line of every file
def words_of(name: str) -> str:
    """A name without case and without what stands between its words, to compare it."""
    return _WORD_GAPS.sub(" ", units.plain(name).casefold()).strip()


def _marked_unit(_name: str, unit: str) -> str | None:
    return units.recognise(unit) or None  # "Voltage (1)" is a channel, not a ratio


def _suffix_unit(name: str, suffix: str) -> str | None:
    if suffix == "min" and not _TIME_WORDS & set(words_of(name).split()):
        return None  # power_min is a minimum, time_min is in minutes
    if len(suffix) == 1 and words_of(name).rpartition(" ")[2] in _LABELLED:
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
    spelled = unit_text.strip(" []()")
    if heading.unit_text or not spelled:
        return replace(heading, below=unit_text.strip())
    return replace(
        heading, unit=units.recognise(spelled), unit_text=spelled, below=unit_text.strip()
    )


def shape_of(headings: Sequence[Heading]) -> tuple[tuple[str, str], ...]:
    """The headings as a column map names them."""
    return tuple((heading.text.strip(), heading.below) for heading in headings)
