"""What the page of an arrived file needs to say what was read of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django import template

from measurements.intake import units

register = template.Library()

_BECAUSE = {
    "name": "its name",
    "alias": "its name and unit",
    "unit": "its unit alone",
    "map": "the column map",
}


@dataclass(frozen=True, slots=True)
class SampleCell:
    """A cell of a sampled row; `word` says which end of its column it is."""

    text: str
    is_extreme: bool = False
    word: str = ""


@register.filter
def at(found: Mapping[Any, Any] | None, key: Any) -> Any:
    """What a mapping has under a key that is no word, None for nothing."""
    return found.get(key) if found else None


@register.filter
def because(by: str) -> str:
    """On what a heading was matched, in words."""
    return _BECAUSE.get(by, "–")


@register.filter
def heads(sample: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Title and unit of every column."""
    shown = [units.shown(unit) if unit else "" for unit in sample["units"]]
    return list(zip(sample["titles"], shown, strict=True))


@register.filter
def sampled(sample: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """The rows that are shown, their numbers as written by hand."""
    names = sample["names"]
    ends = _ends(sample)
    for row in sample["rows"]:
        yield {
            "row": row["row"],
            "role": {"extreme": "extreme"}.get(row["role"], row["role"]),
            "cells": [
                _cell(cell, name in row["extremes"], ends.get(name))
                for name, cell in zip(names, row["cells"], strict=True)
            ],
        }


def _ends(sample: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    ends = {}
    for place, name in enumerate(sample["names"]):
        numbers = [
            row["cells"][place]
            for row in sample["rows"]
            if isinstance(row["cells"][place], int | float)
        ]
        if numbers:
            ends[name] = (min(numbers), max(numbers))
    return ends


def _cell(
    cell: float | str | None, is_extreme: bool, ends: tuple[float, float] | None
) -> SampleCell:
    if cell is None or cell == "":
        return SampleCell("–")
    if isinstance(cell, str):
        return SampleCell(cell)
    text = f"{cell:.9g}".replace("-", "−")
    if not is_extreme or ends is None or ends[0] == ends[1]:
        return SampleCell(text)
    return SampleCell(text, is_extreme=True, word="least" if cell == ends[0] else "most")
