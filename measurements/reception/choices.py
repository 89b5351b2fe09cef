"""How a person said the columns of a file are to be read, from the fields of a page."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from measurements.intake import units
from measurements.intake.column_maps import Assigned, ColumnMap
from measurements.intake.columns import Column
from measurements.intake.evidence import DecimalMark
from measurements.kinds.base import Kind

CLOCK = "clock"
# What benches log in, beside "no unit" and clock stamps.
UNITS = (
    *("W", "mW", "uW", "kW", "V", "mV", "uV", "A", "mA", "uA", "s", "ms", "us", "ns", "min", "h"),
    *("degC", "degF", "K", "%", "Vpp", "mVpp", "uVpp", "Wh", "mWh", "Ah", "mAh", "Hz", "kHz"),
)
_NOT_IN_SLUG = re.compile(r"[\W_]+")


@dataclass(frozen=True, slots=True)
class HeadingRow:
    """A heading on the page, with what is chosen for it now.

    `column` and `unit` are values of the two selects; `asks` says that two readings are
    possible and which.
    """

    index: int
    text: str
    unit_text: str
    example: str
    by: str
    column: str
    unit: str
    asks: tuple[str, ...] = ()
    fault: str = ""


def column_choices(kind: Kind) -> list[tuple[str, str]]:
    """The columns of a kind as choices for a heading, beside leaving it unread."""
    return [
        ("", "left unread"),
        *(
            (
                column.name,
                f"{column.title}, named by its heading" if column.is_family else column.title,
            )
            for column in kind.columns
        ),
    ]


def unit_choices() -> list[tuple[str, str]]:
    """The units of cells as choices."""
    return [
        ("", "no unit"),
        (CLOCK, "clock stamps"),
        *((unit, units.shown(unit)) for unit in UNITS),
    ]


def heading_rows(evidence: Mapping[str, Any], *, kind: Kind) -> list[HeadingRow]:
    """The headings of a file as they were understood."""
    titles = {column.name: column.title for column in kind.columns}
    rows = []
    for index, seen in enumerate(evidence["headings"]):
        column = _column_of(seen["column"], kind)
        unit = seen["unit"]
        if column is not None:
            unit = CLOCK if seen["read_unit"] is None else seen["read_unit"]
        rows.append(
            HeadingRow(
                index=index,
                text=seen["text"],
                unit_text=seen["unit_text"],
                example=seen["example"],
                by=seen["by"],
                column=column.name if column else "",
                unit=unit,
                asks=tuple(titles.get(name, name) for name in seen["could_be"]),
            )
        )
    return rows


def _column_of(name: str, kind: Kind) -> Column | None:
    """The declared column that a canonical name belongs to, the family's for a sensor's."""
    if not name:
        return None
    for column in kind.columns:
        if column.name == name:
            return column
    return next(
        (item for item in kind.columns if item.is_family and name.endswith(item.name[1:])), None
    )


def choice_from(
    data: Mapping[str, Any], *, evidence: Mapping[str, Any], kind: Kind, is_guess: bool
) -> tuple[ColumnMap | None, dict[int, str]]:
    """What was chosen on the page; None where it `is_guess` that was left as it was.

    Faults are sentences by the index of the heading.
    """
    rows = heading_rows(evidence, kind=kind)
    assigned: list[Assigned | None] = []
    faults: dict[int, str] = {}
    is_as_found = True
    taken: dict[str, int] = {}
    for row in rows:
        name = str(data.get(f"column-{row.index}", row.column))
        unit = str(data.get(f"unit-{row.index}", row.unit))
        is_as_found &= name == row.column and (not name or unit == row.unit)
        column = next((item for item in kind.columns if item.name == name), None)
        if column is None:
            assigned.append(None)
            continue
        seen = evidence["headings"][row.index]
        item, fault = _assigned(column, unit=unit, heading=seen)
        if not fault and item.column in taken:
            first = rows[taken[item.column]].text
            fault = f"‘{first}’ is read as {column.title} already. Choose one of the two."
        if fault:
            faults[row.index] = fault
        taken.setdefault(item.column, row.index)
        assigned.append(item)
    decimal = str(data.get("decimal", ""))
    decimal = decimal if decimal in (".", ",") else ""
    sheet = str(data.get("sheet", ""))
    sheet = sheet if sheet in evidence["sheets"] else ""
    is_as_found &= not decimal and (not sheet or sheet == evidence["sheet"])
    if is_guess and is_as_found:
        return None, faults
    return (
        ColumnMap(
            headings=tuple((row.text, row.unit_text) for row in rows),
            columns=tuple(assigned),
            decimal=cast(DecimalMark, decimal),
            sheet=sheet,
        ),
        faults,
    )


def _assigned(column: Column, *, unit: str, heading: Mapping[str, Any]) -> tuple[Assigned, str]:
    name = column.name
    if column.is_family:
        same = heading["column"]
        name = (
            same if same.endswith(column.name[1:]) else f"{_slug(heading['text'])}{column.name[1:]}"
        )
    if column.is_text:
        return Assigned(name, ""), ""
    if unit == CLOCK:
        fits = units.compatible(column.unit, "s") if column.unit else False
        fault = "" if fits else f"{column.title} is no time; choose the unit of its cells."
        return Assigned(name, None), fault
    if unit not in ("", *UNITS) and units.recognise(unit) is None:
        return Assigned(name, unit), f"‘{unit}’ is not a unit known here."
    if not units.compatible(unit, column.unit):
        wanted = units.shown(column.unit)
        said = (
            f"{units.shown(unit)} is not a unit of {column.title}" if unit else "No unit is chosen"
        )
        return Assigned(name, unit), f"{said}; choose {wanted} or another unit of it."
    return Assigned(name, unit), ""


def _slug(text: str) -> str:
    return _NOT_IN_SLUG.sub("_", units.plain(text).casefold()).strip("_")[:40] or "sensor"
