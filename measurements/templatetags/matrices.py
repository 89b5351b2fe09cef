"""Listings and matrices of a run as a page draws them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import template

from measurements.templatetags.figures import MISSING, figure

register = template.Library()

SHADES = 6
"""Steps of shade, 0 the palest; the stylesheet has one class for each."""


@dataclass(frozen=True, slots=True)
class DrawnCell:
    """A cell as it is drawn. `shade` counts from 0, or is None for a cell without a number."""

    text: str
    shade: int | None
    mark: str
    note: str


@dataclass(frozen=True, slots=True)
class DrawnRow:
    """A row of the drawing with its heading."""

    heading: str
    cells: tuple[DrawnCell, ...]


@register.inclusion_tag("measurements/matrix.html")
def matrix(drawn: Mapping[str, Any]) -> dict[str, Any]:
    """A matrix as a table with shades; `drawn` is a `kinds.base.Matrix` as plain JSON."""
    numbers = [cell["value"] for row in drawn["cells"] for cell in row if cell["value"] is not None]
    low, high = min(numbers, default=0.0), max(numbers, default=0.0)
    return {
        "matrix": drawn,
        "rows": [
            DrawnRow(heading, tuple(_cell(cell, drawn=drawn, low=low, high=high) for cell in cells))
            for heading, cells in zip(drawn["rows"], drawn["cells"], strict=True)
        ],
        "notes": _notes(drawn),
    }


def _notes(drawn: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Every note once, with the cell it stands for; "" for one that several cells share."""
    where: dict[str, str] = {}
    for heading, cells in zip(drawn["rows"], drawn["cells"], strict=True):
        for column, cell in zip(drawn["columns"], cells, strict=True):
            if note := cell["note"]:
                where[note] = "" if note in where else f"{heading}, {column}"
    return [(place, note) for note, place in where.items()]


def _cell(
    cell: Mapping[str, Any], *, drawn: Mapping[str, Any], low: float, high: float
) -> DrawnCell:
    value = cell["value"]
    if value is None:
        return DrawnCell(cell["text"] or MISSING, None, cell["mark"], cell["note"])
    return DrawnCell(
        cell["text"] or figure(value, drawn["decimals"]),
        _shade(value, low=low, high=high),
        cell["mark"],
        cell["note"],
    )


def _shade(value: float, *, low: float, high: float) -> int:
    """Darker for more. Which end is better is said in words, not in shades."""
    if not high > low:
        return 0
    return min(SHADES - 1, int((value - low) / (high - low) * SHADES))


@register.inclusion_tag("measurements/listing.html")
def listing(drawn: Mapping[str, Any]) -> dict[str, Any]:
    """A listing as a table; `drawn` is a `kinds.base.Listing` as plain JSON."""
    return {
        "listing": drawn,
        "headings": [(name, at in drawn["numeric"]) for at, name in enumerate(drawn["headings"])],
        "rows": [
            [(text, at in drawn["numeric"]) for at, text in enumerate(row)] for row in drawn["rows"]
        ],
    }
