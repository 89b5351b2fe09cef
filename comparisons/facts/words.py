"""Numbers and conditions within a sentence. A unit stays on the line of its number."""

from __future__ import annotations

from itertools import pairwise

from measurements.kinds.base import Condition
from measurements.queries import condition_in_words
from measurements.templatetags.figures import NOT_STATED, figure, uncertainty

NBSP = "\u00a0"
_FEW = ("no", "one", "two", "three", "four", "five", "six")


def quantity(value: float, expanded: float | None, *, unit: str, decimals: int) -> str:
    """``0.2124 ± 0.0035 W``, or ``0.2124 W (U not stated)``; a pure number has no unit."""
    sign = "" if unit == "1" else f"{NBSP}{unit}"
    number = figure(value, decimals)
    if expanded is None:
        return f"{number}{sign} ({NOT_STATED})"
    return f"{number}{NBSP}{uncertainty(expanded, decimals).replace(' ', NBSP)}{sign}"


def plain(value: float, unit: str) -> str:
    """A nominal or stated number with its unit, as short as it is: ``20 V``."""
    return f"{value:g}{NBSP}{unit}"


def ordinal(number: int) -> str:
    """``1st``, ``2nd``, ``3rd``, ``11th``."""
    teens = number % 100 in (11, 12, 13)
    return f"{number}{'th' if teens else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"


def counted(count: int, noun: str) -> str:
    """``1 port``, ``3 ports``."""
    return f"{count}{NBSP}{noun}{'' if count == 1 else 's'}"


def few(count: int, noun: str) -> str:
    """The same with small numbers as words: ``two USB-C ports``."""
    number = _FEW[count] if count < len(_FEW) else str(count)
    return f"{number} {noun}{'' if count == 1 else 's'}"


def where(condition: Condition) -> str:
    """``at 230 V mains and 20 V output``; empty for no line and no voltage."""
    parts = []
    if condition.line:
        parts.append(condition_in_words(Condition(line=condition.line)))
    if condition.output_v is not None:
        parts.append(condition_in_words(Condition(output_v=condition.output_v)))
    return "at " + kept_together(" and ".join(parts)) if parts else ""


def kept_together(text: str) -> str:
    """The text with every number held to the unit behind it."""
    words = text.split(" ")
    joined = words[0]
    for before, word in pairwise(words):
        joined += (NBSP if before[-1:].isdigit() and len(word) <= 2 else " ") + word
    return joined


def capitalised(text: str) -> str:
    """The text with its first letter large and the others as they are."""
    return text[:1].upper() + text[1:]


def uncapitalised(title: str) -> str:
    """A title within a sentence: ``standby power``; abbreviations keep their letters."""
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def without_breaks(text: str) -> str:
    """The text with ordinary blanks, as it is copied into other programs."""
    return text.replace(NBSP, " ").replace("\u202f", " ")
