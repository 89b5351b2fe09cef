"""What the name of a file says by the patterns of this bench."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache

from django.utils.text import slugify

from catalog.models import Adapter, Viewer
from measurements.intake.file_names import Pattern, PatternError
from measurements.kinds import all_kinds
from measurements.models import FileNamePattern

_TEXTS = ("adapter", "kind", "unit", "port", "measured_at")
_NUMBERS = ("mains_v", "mains_hz", "ambient_c")
_MOMENT = re.compile(
    r"(\d{4})-?(\d{2})-?(\d{2})(?:[T _-]?(\d{2})[:h.-]?(\d{2})(?:[:.-]?(\d{2}))?)?", re.ASCII
)


@dataclass(frozen=True, slots=True)
class Said:
    """What a name says: `fields` as texts of the upload, and what was `not_understood`."""

    fields: Mapping[str, str]
    pattern: str
    not_understood: Mapping[str, str]


@cache
def number_fields() -> frozenset[str]:
    """The fields of a pattern that are numbers."""
    own = (field for kind in all_kinds() for field in kind.fields if field.type == "number")
    return frozenset(_NUMBERS) | {field.name for field in own}


@cache
def pattern_fields() -> frozenset[str]:
    """Every field that a pattern may name."""
    own = (field for kind in all_kinds() for field in kind.fields if field.type != "json")
    return number_fields() | frozenset(_TEXTS) | {field.name for field in own}


def parse_pattern(text: str) -> Pattern:
    """A pattern over the fields of the upload. Raises `PatternError`."""
    return Pattern.parse(text, fields=pattern_fields(), numbers=number_fields())


def said_by_name(file_name: str, *, viewer: Viewer) -> Said | None:
    """What the name says by the pattern in use that fixes most of it; None when none fits."""
    texts = FileNamePattern.objects.in_use().order_by("pk").values_list("pattern", flat=True)
    patterns = []
    for text in texts:
        try:
            patterns.append(parse_pattern(text))
        except PatternError:  # a field of a kind that is no more
            continue
    for pattern in sorted(patterns, key=lambda item: item.certainty, reverse=True):
        found = pattern.read(file_name)
        if found is not None:
            return understood(found, pattern=pattern.text, viewer=viewer)
    return None


def understood(found: Mapping[str, str], *, pattern: str, viewer: Viewer) -> Said:
    """The parts of a name as the upload takes them: slugs, labels as the adapter has them."""
    fields: dict[str, str] = {}
    lost: dict[str, str] = {}
    adapter = _adapter(found["adapter"], viewer=viewer) if found.get("adapter") else None
    for name, text in found.items():
        if name == "adapter":
            told = adapter.slug if adapter else ""
        elif name == "kind":
            told = _kind(text)
        elif name == "port":
            told = _port(text, adapter)
        elif name == "measured_at":
            told = _moment(text)
        else:
            told = text
        (fields if told else lost)[name] = told or text
    return Said(fields=fields, pattern=pattern, not_understood=lost)


def _adapter(text: str, *, viewer: Viewer) -> Adapter | None:
    """The one adapter of that slug, name or model number; None when there are several."""
    wanted = slugify(text)
    seen = Adapter.objects.visible_to(viewer)
    if found := seen.filter(slug=wanted).first():
        return found
    named = [
        item
        for item in seen.select_related("maker")
        if wanted
        and wanted
        in (
            slugify(item.name),
            slugify(item.model_number),
            slugify(f"{item.maker.name} {item.name}"),
        )
    ]
    return named[0] if len(named) == 1 else None


def _kind(text: str) -> str:
    wanted = slugify(text)
    for kind in all_kinds():
        if wanted in (kind.slug, slugify(kind.title)):
            return kind.slug
    return ""


def _port(text: str, adapter: Adapter | None) -> str:
    if adapter is None:
        return text
    labels = adapter.ports.values_list("label", flat=True)
    return next((label for label in labels if label.casefold() == text.casefold()), "")


def _moment(text: str) -> str:
    found = _MOMENT.fullmatch(text)
    if found is None:
        return ""
    parts = [int(part or 0) for part in found.groups()]
    try:
        return datetime(*parts).isoformat(sep=" ")  # type: ignore[arg-type]  # noqa: DTZ001
    except ValueError:
        return ""
