"""One search over makers, adapters, devices, metrics, methods and words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from urllib.parse import urlencode

from django.urls import reverse

from catalog.models import Adapter, Device, Maker, Viewer
from catalog.queries import find, fit, folded, words_of
from measurements.kinds import all_kinds, all_metrics, physical
from measurements.kinds.base import Metric
from measurements.standards.glossary import GLOSSARY

SHOWN = 8
ALL_SHOWN = 200

GROUPS = {
    "adapters": "Adapters",
    "makers": "Makers",
    "devices": "Reference devices",
    "metrics": "Metrics",
    "words": "Methods and words",
}

# What is found in a definition or a meaning comes after what is found in a name.
_IN_TEXT = 10


@dataclass(frozen=True, slots=True)
class Hit:
    """Something found: its title, where it is, and what to tell it by."""

    title: str
    href: str
    note: str = ""
    further: tuple[tuple[str, str], ...] = ()
    """Other addresses of the same thing, with what they are."""


@dataclass(frozen=True, slots=True)
class Group:
    """What was found of one sort. `total` counts all, of which `hits` are the first."""

    key: str
    title: str
    total: int
    hits: tuple[Hit, ...]
    href_of_all: str

    @property
    def has_more(self) -> bool:
        """Whether there are more than are shown."""
        return self.total > len(self.hits)


def search(text: str, *, viewer: Viewer, only: str = "") -> tuple[Group, ...]:
    """What fits every word of `text`, in groups that hold something, in at most seven queries.

    In every group exact names come first, then beginnings. `only` is the key of one group, which
    is then shown at more length.
    """
    found = find(text, viewer=viewer)
    limit = ALL_SHOWN if only else SHOWN
    groups = (
        _group("adapters", text, len(found.adapters), _adapters(found.adapters[:limit])),
        _group("makers", text, len(found.makers), _makers(found.makers[:limit], viewer=viewer)),
        _first("devices", text, _devices(text), limit=limit),
        _first("metrics", text, _fitting(text, _metrics()), limit=limit),
        _first("words", text, _fitting(text, _words()), limit=limit),
    )
    return tuple(group for group in groups if group.total and only in ("", group.key))


def _group(key: str, text: str, total: int, hits: Iterable[Hit]) -> Group:
    query = {"q": text} if key == "adapters" else {"q": text, "in": key}
    page = reverse("adapter-list" if key == "adapters" else "search")
    return Group(key, GROUPS[key], total, tuple(hits), f"{page}?{urlencode(query)}")


def _first(key: str, text: str, hits: Sequence[Hit], *, limit: int) -> Group:
    return _group(key, text, len(hits), hits[:limit])


def _adapters(ids: Sequence[int]) -> Iterable[Hit]:
    """Adapters in the order of `ids`. One query."""
    adapters = Adapter.objects.select_related("maker").in_bulk(ids)
    for pk in ids:
        adapter = adapters[pk]
        parts = [f"{adapter.rated_power_w:g} W", adapter.model_number]
        if not adapter.is_published:
            parts.append(f"under embargo until {adapter.publish_on:%Y-%m-%d}")
        yield Hit(
            str(adapter), adapter.get_absolute_url(), ", ".join(part for part in parts if part)
        )


def _makers(ids: Sequence[int], *, viewer: Viewer) -> Iterable[Hit]:
    """Makers in the order of `ids`, with how many adapters they have here. Two queries."""
    makers = Maker.objects.in_bulk(ids)
    visible = Adapter.objects.visible_to(viewer).filter(maker__in=ids)
    counts: dict[int, int] = {}
    for maker_id in visible.values_list("maker", flat=True):
        counts[maker_id] = counts.get(maker_id, 0) + 1
    for pk in ids:
        maker, count = makers[pk], counts.get(pk, 0)
        href = f"{reverse('adapter-list')}?{urlencode({'maker': maker.slug})}"
        yield Hit(maker.name, href, f"{count} adapter{'' if count == 1 else 's'}")


def _devices(text: str) -> list[Hit]:
    """Reference devices; few enough to be read whole. One query."""
    offered = [
        _Offered(
            Hit(
                device.name,
                reverse("device", args=[device.slug]),
                ", ".join(part for part in (device.kind, device.slug) if part),
            ),
            names=(folded(device.name), folded(device.slug)),
            words=folded(device.kind),
        )
        for device in Device.objects.listed().order_by("name")
    ]
    return _fitting(text, offered)


@dataclass(frozen=True, slots=True)
class _Offered:
    """Something that may be found: by its folded names, or else by the words of its text."""

    hit: Hit
    names: tuple[str, ...]
    words: str


def _fitting(text: str, offered: Iterable[_Offered]) -> list[Hit]:
    asked = words_of(text)
    if not asked:
        return []
    found: list[tuple[int, int, Hit]] = []
    for order, item in enumerate(offered):
        how = fit(asked, item.names)
        if how is None and all(
            any(word.startswith(part) for word in item.words.split()) for part in asked
        ):
            how = _IN_TEXT
        if how is not None:
            found.append((how, order, item.hit))
    return [hit for *_, hit in sorted(found, key=lambda entry: entry[:2])]


@cache
def _metrics() -> tuple[_Offered, ...]:
    kinds = {metric.key: kind.slug for kind in all_kinds() for metric in kind.metrics}
    return tuple(
        _Offered(
            Hit(
                metric.title,
                _definition(metric, kinds.get(metric.key, "")),
                ", ".join(part for part in (metric.key, _unit(metric)) if part),
                further=((("ranking", reverse("ranking", args=[metric.key])),))
                if metric.ranked and metric.better
                else (),
            ),
            names=(folded(metric.title), folded(metric.key)),
            words=folded(metric.definition),
        )
        for metric in all_metrics().values()
    )


def _definition(metric: Metric, kind: str) -> str:
    page = reverse("method-list") if metric in physical.METRICS else reverse("method", args=[kind])
    return f"{page}#{metric.key}"


def _unit(metric: Metric) -> str:
    return f"in {metric.unit}" if metric.unit not in ("", "1") else ""


@cache
def _words() -> tuple[_Offered, ...]:
    methods = [
        _Offered(
            Hit(f"Method: {kind.title}", reverse("method", args=[kind.slug]), kind.summary),
            names=(folded(kind.title), folded(kind.slug), folded(f"Method {kind.title}")),
            words=folded(kind.summary),
        )
        for kind in all_kinds()
    ]
    terms = [
        _Offered(
            Hit(term.word, f"{reverse('glossary')}#{term.key}", term.meaning),
            names=tuple(folded(part) for part in (term.word, *term.word.split(", "), term.key)),
            words=folded(term.meaning),
        )
        for _, part in GLOSSARY.items()
        for term in part
    ]
    pages = [
        _Offered(
            Hit(title, reverse(name), note),
            names=(folded(title),),
            words=folded(note),
        )
        for title, name, note in (
            ("Cautions", "cautions", "Mains, earthed probes and heat: what can hurt."),
            ("Decoder", "decode", "Words of power data objects, decoded and audited."),
            ("Glossary", "glossary", "The words of these pages."),
        )
    ]
    return (*methods, *terms, *pages)
