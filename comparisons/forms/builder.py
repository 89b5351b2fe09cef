"""What the builder of a comparison lays out: what is chosen, in its order, with its controls.

Everything is in the form itself, so that moving, adding and searching work without scripts: a
button sends the form, and what comes back has the change in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from django.http import QueryDict

from catalog.models import Adapter
from catalog.rest.fields import fault_of_plain
from comparisons.queries.tables import PHYSICAL_SECTION
from measurements.kinds import all_kinds, physical
from measurements.kinds.base import Condition
from measurements.queries import condition_in_words

_NUMBERS = ("output_v", "load_percent")
_PARTS = {item.name for item in fields(Condition)}
MOVED = ("adapter", "metric")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a chosen thing stands, and which of its buttons was pressed last."""

    first: bool
    last: bool
    focus: str


@dataclass(frozen=True, slots=True)
class ChosenAdapter:
    """A column: the adapter and the heading over it."""

    adapter: Adapter
    group: str
    place: Place


@dataclass(frozen=True, slots=True)
class ConditionChoice:
    """A condition to choose, by its key."""

    key: str
    words: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class ChosenMetric:
    """A metric with what may narrow its rows."""

    key: str
    title: str
    section: str
    conditions: tuple[ConditionChoice, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class CellNote:
    """A note on the cells of one adapter (slug) and one metric (key), as it was written."""

    adapter: str
    metric: str
    text: str


def metric_sections() -> list[tuple[str, list[tuple[str, str]]]]:
    """Every metric as a choice, grouped by what computes it."""
    sections = [
        (kind.title, [(metric.key, metric.title) for metric in kind.metrics if metric.ranked])
        for kind in all_kinds()
    ]
    sections.append((PHYSICAL_SECTION, [(item.key, item.title) for item in physical.METRICS]))
    return sections


def condition_of_key(text: str) -> dict[str, Any] | None:
    """The parts of a condition from its key, such as ``line=high;output_v=20``; None for no key."""
    parts: dict[str, Any] = {}
    for piece in text.split(";"):
        name, sign, part = piece.partition("=")
        if not sign or not part or name not in _PARTS or name in parts:
            return None
        try:
            parts[name] = float(part) if name in _NUMBERS else part
        except ValueError:
            return None
    condition = Condition(**parts)
    sound = condition.key == text and not fault_of_plain(parts)
    return condition.as_json() if sound else None


def condition_choices(known: Iterable[Condition], *, chosen: str) -> tuple[ConditionChoice, ...]:
    """The conditions of a metric to choose from, what is chosen among them in any case."""
    choices = [
        ConditionChoice(condition.key, condition_in_words(condition), condition.key == chosen)
        for condition in known
        if condition.as_json()
    ]
    if chosen and not any(choice.chosen for choice in choices):
        parts = condition_of_key(chosen)
        words = chosen if parts is None else condition_in_words(Condition(**parts))
        choices.append(ConditionChoice(chosen, words, True))
    return tuple(choices)


def moved(data: QueryDict, button: str) -> QueryDict:
    """The form after a button such as ``metric-up no-load-power`` was pressed."""
    said, _, what = button.partition(" ")
    name, _, direction = said.partition("-")
    items = list(dict.fromkeys(data.getlist(name)))
    if name not in MOVED or what not in items or direction not in ("up", "down"):
        return data
    at = items.index(what)
    to = at - 1 if direction == "up" else at + 1
    if 0 <= to < len(items):
        items[at], items[to] = items[to], items[at]
    changed = data.copy()
    changed.setlist(name, items)
    return changed


def places(kind: str, items: Sequence[str], *, button: str) -> dict[str, Place]:
    """The place of each item; after a move the keyboard stays with the item that was moved."""
    said, _, what = button.partition(" ")
    direction = said.removeprefix(f"{kind}-")
    found = {}
    for at, item in enumerate(items):
        first, last = at == 0, at == len(items) - 1
        focus = ""
        if said.startswith(f"{kind}-") and item == what:
            focus = {"up": "down" if first else "up", "down": "up" if last else "down"}.get(
                direction, ""
            )
        found[item] = Place(first, last, focus)
    return found


def cell_notes(data: QueryDict) -> list[CellNote]:
    """The notes on cells as they stand in the form, empty ones left out."""
    rows = zip(
        data.getlist("note_adapter"),
        data.getlist("note_metric"),
        data.getlist("note_text"),
        strict=False,
    )
    return [
        CellNote(adapter, metric, text.strip()) for adapter, metric, text in rows if text.strip()
    ]


def titles() -> Mapping[str, tuple[str, str]]:
    """Metric → section and title."""
    return {
        key: (section, title) for section, choices in metric_sections() for key, title in choices
    }
