"""What keeps a scan of ports from being read."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from catalog.power_delivery.wording import listed
from catalog.power_delivery.words import parse_word
from measurements.intake.columns import Problem, Table
from measurements.intake.decoding import printable
from measurements.kinds.base import Setup
from measurements.kinds.port_labels import port_label
from measurements.kinds.port_scan.scans import LARGEST_POSITION, protocol_slug

# The catalogue keeps no longer label.
_LONGEST_LABEL = 20
_LARGEST_PORT_COUNT = 32


@dataclass(slots=True)
class _Seen:
    """What earlier rows said of a port: line by position, and lines without a position."""

    placed: dict[int, int] = field(default_factory=dict)
    unplaced: list[int] = field(default_factory=list)


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Ports that the adapter lacks, words that are none, positions that clash or say nothing."""
    ports = table.texts.get("port", ())
    if not ports:
        return (
            Problem(
                "The file holds no rows; write one for every object that a port sends, with port, "
                "position and word.",
                column="port",
            ),
        )
    seen: dict[str, _Seen] = {}
    problems = list(_row_problems(table, setup, seen))
    if not problems and not any(_says_something(table, row) for row in range(len(table))):
        problems.append(
            Problem(
                "No row holds a word or a protocol; fill in what the ports sent.",
                row=int(table.rows[0]),
                column="word",
            )
        )
    if len(seen) > _LARGEST_PORT_COUNT:
        problems.append(
            Problem(
                f"The file names {len(seen)} ports, and no adapter has more than "
                f"{_LARGEST_PORT_COUNT}; send one file for each adapter.",
                column="port",
            )
        )
    for text, port in seen.items():
        problems.extend(_port_problems(text, port))
    return tuple(problems)


def _row_problems(table: Table, setup: Setup, seen: dict[str, _Seen]) -> Iterator[Problem]:
    for row, text in enumerate(table.texts["port"]):
        line = int(table.rows[row])
        if fault := _label_fault(text, setup):
            yield Problem(fault, row=line, column="port")
        place = _place(table, row)
        if place is not None and not (place.is_integer() and 1 <= place <= LARGEST_POSITION):
            yield Problem(
                f"Position is {place:g}; objects are counted from 1 to {LARGEST_POSITION}.",
                row=line,
                column="position",
            )
            place = math.inf
        word = _cell(table, "word", row)
        if not (word or protocol_slug(_cell(table, "protocol", row)) or place is not None):
            yield Problem(
                f"The row names port {printable(text)} only; give a word with its position, or a "
                "protocol, or remove the row.",
                row=line,
                column="port",
            )
        label = port_label(text, ports=setup.adapter.ports) or text.casefold()
        port = seen.setdefault(label, _Seen())
        if word:
            yield from _word_problems(word, port=port, place=place, line=line)


def _word_problems(word: str, *, port: _Seen, place: float | None, line: int) -> Iterator[Problem]:
    try:
        parse_word(word)
    except ValueError:
        yield Problem(
            f"‘{printable(word)}’ is not a 32-bit word; write 8 hexadecimal digits, such as "
            "0x0001912C.",
            row=line,
            column="word",
        )
    if place is None:
        port.unplaced.append(line)
    elif math.isfinite(place):
        first = port.placed.setdefault(int(place), line)
        if first != line:
            yield Problem(
                f"Position {place:g} of this port stands in line {first} already; keep one word "
                "for each position.",
                row=line,
                column="position",
            )


def _port_problems(text: str, port: _Seen) -> Iterator[Problem]:
    shown = printable(text)
    if port.placed and port.unplaced:
        yield Problem(
            f"Some words of port {shown} have a position and this one has none; number all of "
            "them, or none so that they count in the order of the file.",
            row=port.unplaced[0],
            column="position",
        )
    elif len(port.unplaced) > LARGEST_POSITION:
        yield Problem(
            f"Port {shown} has {len(port.unplaced)} words, and a port sends at most "
            f"{LARGEST_POSITION}; keep one scan of each port.",
            row=port.unplaced[LARGEST_POSITION],
            column="word",
        )


def _label_fault(text: str, setup: Setup) -> str:
    ports = setup.adapter.ports
    if ports and port_label(text, ports=ports) is None:
        return (
            f"‘{printable(text)}’ is no port of this adapter, which has "
            f"{listed(port.label for port in ports)}. Correct the cell, or add the port to the "
            "adapter's entry."
        )
    if len(text) > _LONGEST_LABEL:
        return f"‘{printable(text)}’ is too long for the label of a port; write it as C1 or A1."
    return ""


def _cell(table: Table, name: str, row: int) -> str:
    return table.texts[name][row] if name in table.texts else ""


def _place(table: Table, row: int) -> float | None:
    if "position" not in table:
        return None
    place = float(table["position"][row])
    return None if math.isnan(place) else place


def _says_something(table: Table, row: int) -> bool:
    return bool(_cell(table, "word", row) or protocol_slug(_cell(table, "protocol", row)))
