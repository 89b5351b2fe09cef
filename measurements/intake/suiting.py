"""Whether a heading can be a column of the kind, by what it is called and by its unit."""

from __future__ import annotations

import re

from measurements.intake import units
from measurements.intake.columns import Column
from measurements.intake.decoding import printable
from measurements.intake.headings import Heading, parse_heading, words_of

_NOT_IN_SLUG = re.compile(r"[\W_]+")
_INWARD = {"in", "input", "mains", "ac", "primary", "pin", "vin", "iin"}
_OUTWARD = {"out", "output", "dc", "secondary", "pout", "vout", "iout"}


def may_be(unit: str | None, column: Column) -> bool:
    """Whether cells in that unit, or clock stamps for None, can be the column."""
    if column.is_text:
        return not unit
    if unit is None:
        return bool(column.unit) and units.compatible(column.unit, "s")
    return units.recognise(unit) is not None and units.compatible(unit, column.unit)


def is_called(heading: Heading, column: Column) -> bool:
    """Whether the heading is a name of the column; of a column of text, the whole heading."""
    if column.is_text:
        names, given = (column.name, column.title, *column.aliases), heading.text
    else:
        stem = parse_heading(column.name).name
        names, given = (column.name, stem, column.title, *column.aliases), heading.name
    return words_of(given) in map(words_of, names)


def has_its_unit(heading: Heading, column: Column) -> bool:
    """Whether the heading names a unit of the column, or none where it needs none."""
    if column.is_text:
        return True
    if heading.unit_text:
        return heading.unit is not None and units.compatible(heading.unit, column.unit)
    # Clock stamps carry their unit in the cells.
    return column.unit == "" or units.compatible(column.unit, "s")


def cell_unit(heading: Heading, column: Column) -> str | None:
    """The unit of the cells below the heading, read as the column; None for clock stamps."""
    if column.is_text or (heading.unit is None and column.unit == ""):
        return ""
    return heading.unit


def are_alike(first: Column, second: Column) -> bool:
    """Whether a unit of one is a unit of the other."""
    return units.compatible(first.unit, second.unit)


def are_opposed(heading: Heading, column: Column) -> bool:
    """Whether one speaks of the input and the other of the output."""
    said = set(words_of(heading.name).split())
    meant = set(words_of(f"{column.name} {column.title}").split())
    return bool((said & _INWARD and meant & _OUTWARD) or (said & _OUTWARD and meant & _INWARD))


def example_of(column: Column) -> str:
    """How the heading of the column may be spelled."""
    if column.is_family:
        return f"‘sensor{column.name[1:]}’ with the sensor's own name in front"
    unit = f" or ‘{column.title} [{units.shown(column.unit)}]’" if column.unit else ""
    return f"‘{column.name}’{unit}"


def sensor_of(name: str) -> str:
    """What a sensor is called in the canonical name of its column."""
    return _NOT_IN_SLUG.sub("_", units.plain(name).casefold()).strip("_") or "sensor"


def unit_by_name(unit: str | None) -> str | None:
    """The unit library's name of a unit, however it is spelled; None for clock stamps."""
    return units.recognise(unit) if unit else unit


def unit_in_words(unit: str | None) -> str:
    """How cells in that unit are read, as part of a sentence."""
    if unit is None:
        return "as clock stamps"
    return f"in {printable(units.shown(unit), limit=40)}" if unit else "without a unit"
