"""A fact sheet as plain text and as Markdown (CommonMark), with full addresses."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator

from comparisons.facts.sheets import Fact, Sheet
from comparisons.facts.words import without_breaks

Absolute = Callable[[str], str]

# What begins or ends emphasis, code, a link or an element anywhere in a line (CommonMark 0.31.2).
_MARKUP = re.compile(r"([\\`*_\[\]])")
# What makes something else of a line that begins with it.
_LINE_START = re.compile(r"^(\s*)([#+=~|-]|\d+[.)])")


def as_text(sheet: Sheet, *, absolute: Absolute) -> str:
    """Titles underlined, a fact a line, its source behind it. `absolute` completes a path."""
    return without_breaks("\n".join(_text_lines(sheet, absolute))) + "\n"


def _text_lines(sheet: Sheet, absolute: Absolute) -> Iterator[str]:
    title = _on_one_line(sheet.title)
    yield title
    yield "=" * len(title)
    yield from ("", absolute(sheet.path))
    for note in sheet.notes:
        yield from ("", _on_one_line(note))
    for section in sheet.sections:
        yield from ("", section.title, "-" * len(section.title))
        for fact in section.facts:
            named = "; ".join(f"{item.words}: {absolute(item.path)}" for item in fact.sources)
            yield f"- {_on_one_line(fact.sentences)}{f' [{named}]' if named else ''}"


def as_markdown(sheet: Sheet, *, absolute: Absolute) -> str:
    """Headings, a list of facts, sources as links. Text of people is escaped."""
    return without_breaks("\n".join(_markdown_lines(sheet, absolute))) + "\n"


def _markdown_lines(sheet: Sheet, absolute: Absolute) -> Iterator[str]:
    yield f"# {_escaped(sheet.title)}"
    yield from ("", f"<{absolute(sheet.path)}>")
    for note in sheet.notes:
        yield from ("", _escaped(note))
    for section in sheet.sections:
        yield from ("", f"## {section.title}", "")
        for fact in section.facts:
            yield f"- {_escaped(fact.sentences)}{_links(fact, absolute)}"


def _links(fact: Fact, absolute: Absolute) -> str:
    named = ", ".join(f"[{_escaped(item.words)}]({absolute(item.path)})" for item in fact.sources)
    return f" ({named})" if named else ""


def _on_one_line(text: str) -> str:
    """The text without line breaks of any kind, so that no part of it can pass for another fact."""
    return " ".join(part.strip() for part in text.splitlines() if part.strip())


def _escaped(text: str) -> str:
    """Text that stays text in Markdown, on one line."""
    # Not every reader takes a backslash before these; all of them know the entities.
    one_line = html.escape(_on_one_line(text), quote=False)
    return _LINE_START.sub(_guarded, _MARKUP.sub(r"\\\1", one_line))


def _guarded(found: re.Match[str]) -> str:
    """The first sign of a line without its meaning; of a number the dot or bracket behind it."""
    blanks, sign = found.groups()
    return f"{blanks}\\{sign}" if len(sign) == 1 else f"{blanks}{sign[:-1]}\\{sign[-1]}"
