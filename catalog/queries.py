"""Finding adapters, makers and devices by words, however they are written; and one in full."""

from __future__ import annotations

import threading
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import Count, Max, Prefetch
from django.db.models.expressions import RawSQL

from catalog.models import Adapter, LabelClaim, Maker, Port, Viewer, sees_unpublished

EXACT, BEGINS, WORDS, WITHIN = range(4)
"""How well something fits what was asked for, the best first."""

_Words = tuple[str, ...]

_SIGNS_AS_SPACES = {code: " " for code in range(128) if not chr(code).isalnum()}


def folded(text: str) -> str:
    """`text` without case and accents, every other sign than letters and digits a space."""
    if text.isascii():  # most names are, and there are many
        return " ".join(text.lower().translate(_SIGNS_AS_SPACES).split())
    # Compatible signs first come apart and may then be capitals: Unicode Standard, D145.
    plain = text
    for _ in range(2):
        plain = unicodedata.normalize("NFKD", plain.casefold())
    kept = (sign if sign.isalnum() else " " for sign in plain if not unicodedata.combining(sign))
    return " ".join("".join(kept).split())


def fit(asked: _Words, names: Iterable[str]) -> int | None:
    """How well folded words fit the best of some folded names; None where one is not in any.

    Spaces do not count, so that ``nf 65``, ``NF-65`` and ``nf65`` are the same.
    """
    known = list(names)
    close = [name.replace(" ", "") for name in known]
    whole, together = "".join(asked), " ".join(close)
    parts = set(asked)  # to say a word fifty times costs no more than once
    if not all(part in together for part in parts) and whole not in together:
        return None
    if whole in close:
        return EXACT
    if any(name.startswith(whole) for name in close):
        return BEGINS
    words = [word for name in known for word in name.split()]
    if all(any(word.startswith(part) for word in words) for part in parts):
        return WORDS
    return WITHIN


def words_of(text: str) -> _Words:
    """What somebody asks for, as folded words."""
    return tuple(folded(text).split())


@dataclass(frozen=True, slots=True)
class _Line:
    """An adapter as it is looked through: its folded names, and all of them in one text."""

    pk: int
    maker_id: int
    title: str
    names: tuple[str, ...]
    text: str


class _Catalogue:
    """The names of all adapters, as this process last read them.

    A table of 20,000 names is read again when an adapter was written since; to look through it
    takes milliseconds, which no database does for words without accents unless it is extended.
    """

    def __init__(self) -> None:
        self._stamp: object = None
        self._lines: tuple[_Line, ...] = ()
        self._lock = threading.Lock()

    def lines(self, makers: dict[int, str]) -> tuple[_Line, ...]:
        """Every adapter. One query, two after a change; `makers` are names by id."""
        seen = Adapter.objects.aggregate(count=Count("pk"), last=Max("changed_at"))
        stamp = (seen["count"], seen["last"], tuple(sorted(makers.items())))
        with self._lock:
            if stamp != self._stamp:
                rows = Adapter.objects.order_by("pk").values_list(
                    "pk", "maker_id", "name", "model_number", "slug"
                )
                self._lines = tuple(_line(row, makers) for row in rows.iterator(chunk_size=2_000))
                self._stamp = stamp
            return self._lines


def _line(row: tuple[int, int, str, str, str], makers: dict[int, str]) -> _Line:
    pk, maker_id, name, model_number, slug = row
    title = f"{makers.get(maker_id, '')} {name}"
    names = tuple(folded(text) for text in (title, name, model_number, slug) if text)
    return _Line(pk, maker_id, title, names, " ".join(item.replace(" ", "") for item in names))


_catalogue = _Catalogue()


@dataclass(frozen=True, slots=True)
class Found:
    """Ids of the adapters and makers that fit, those that fit best first."""

    adapters: Sequence[int]
    makers: Sequence[int]


def find(text: str, *, viewer: Viewer) -> Found:
    """Adapters and makers by words, of what this viewer may know of; at most four queries.

    Every word has to be in the names of the maker, the adapter or its model number; what the
    words name exactly comes first, then what begins with them, then the rest by name.
    """
    asked = words_of(text)
    if not asked:
        return Found((), ())
    makers = dict(Maker.objects.values_list("pk", "name"))
    hidden = (
        frozenset[int]()
        if sees_unpublished(viewer)
        else frozenset(Adapter.objects.embargoed().values_list("pk", flat=True))
    )
    whole, parts = "".join(asked), set(asked)
    shown: set[int] = set()
    fitting: list[tuple[int, str, int]] = []
    for line in _catalogue.lines(makers):
        if line.pk in hidden:
            continue
        shown.add(line.maker_id)
        if all(part in line.text for part in parts) or whole in line.text:
            how = fit(asked, line.names)
            if how is not None:
                fitting.append((how, line.title, line.pk))
    fits = [
        (how, makers[pk], pk)
        for pk in shown & makers.keys()  # one may have been added since they were read
        if (how := fit(asked, (folded(makers[pk]),))) is not None
    ]
    return Found(
        adapters=[pk for *_, pk in sorted(fitting)], makers=[pk for *_, pk in sorted(fits)]
    )


def as_one_parameter(ids: Iterable[int]) -> Any:
    """Ids as the right side of ``__in``: one parameter of the query, however many they are."""
    known = list(ids)
    if connection.vendor == "postgresql":
        return RawSQL("SELECT unnest(%s::bigint[])", [known])
    return RawSQL("SELECT value FROM json_each(%s)", [str(known)])


def adapter_in_full(slug: str, *, viewer: Viewer) -> Adapter | None:
    """An adapter with maker, ports and what its label says; None if this viewer may not know."""
    return (
        Adapter.objects.visible_to(viewer)
        .select_related("maker")
        .prefetch_related(
            Prefetch("ports", Port.objects.order_by("position", "label")),
            "ports__protocols",
            Prefetch("claims", LabelClaim.objects.select_related("port").order_by("pk")),
        )
        .filter(slug=slug)
        .first()
    )
