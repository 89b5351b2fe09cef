"""Columns of names and words: kept as written, without the blanks around them."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence

from measurements.intake.body import Body
from measurements.intake.cells import BLANKS
from measurements.intake.columns import IntArray, Problem
from measurements.intake.decoding import printable
from measurements.intake.matches import Match
from measurements.intake.portions import portions
from measurements.intake.problems import Problems

LONGEST_TEXT = 200  # characters
# Beside the plain blanks: the space separators, and what has no width (joiners, marks of
# writing direction, soft hyphen, byte order mark).
_BLANKS_AROUND = BLANKS + "".join(
    chr(code)
    for first, last in (
        (0x00A0, 0x00A0),
        (0x00AD, 0x00AD),
        (0x1680, 0x1680),
        (0x180E, 0x180E),
        (0x2000, 0x200F),
        (0x2028, 0x202F),
        (0x205F, 0x206F),
        (0x3000, 0x3000),
        (0xFEFF, 0xFEFF),
    )
    for code in range(first, last + 1)
)
_CONTROLS = {"Cc", "Zl", "Zp"}


def bare_text(cell: str) -> str:
    """The cell without blanks and invisible signs at its ends."""
    return cell.strip(_BLANKS_AROUND)


def text_fault(text: str, *, title: str, required: bool) -> str:
    """What is wrong with a bare text in the column called `title`, "" when nothing is."""
    if not text:
        if not required:
            return ""
        return f"The cell is blank, but every row needs {title}. Fill it in or remove the row."
    if len(text) > LONGEST_TEXT:
        return (
            f"The cell has {len(text)} characters, but {title} has at most {LONGEST_TEXT}. "
            "Shorten it."
        )
    if not text.isprintable() and any(unicodedata.category(sign) in _CONTROLS for sign in text):
        return (
            f"‘{printable(text)}’ holds a line end, a tab or another control character. "
            f"Write {title} in one line of plain text."
        )
    return ""


def read_texts(
    body: Body, matches: Sequence[Match], problems: Problems
) -> Mapping[str, tuple[str, ...]]:
    """Every matched column of text by its canonical name; adds its bad cells to the problems."""
    texts: dict[int, list[str]] = {match.index: [] for match in matches}
    if not texts:
        return {}
    for portion in portions(body, list(texts)):
        for index, cells in portion.items():
            texts[index].extend(map(bare_text, cells))
    lines = body.records.lines[body.filled]
    for match in matches:
        judge_texts(texts[match.index], match, lines, problems)
    return {match.name: tuple(texts[match.index]) for match in matches}


def judge_texts(texts: Sequence[str], match: Match, lines: IntArray, problems: Problems) -> None:
    """Add the bad cells of a column of bare texts to the problems; `lines` are their rows."""
    heading = printable(match.heading.text.strip())
    told = 0
    for place, text in enumerate(texts):
        fault = text_fault(text, title=match.title, required=match.column.required)
        if not fault:
            continue
        told += 1
        if told > problems.kept:
            problems.more(1)
        else:
            problems.add(Problem(fault, row=int(lines[place]), column=heading))
