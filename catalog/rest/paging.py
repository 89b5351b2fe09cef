"""Paging by key: stable while rows are added, with a cursor nobody can forge or misuse."""

from __future__ import annotations

import hashlib
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar
from urllib.parse import urlencode

from django.core.signing import BadSignature, Signer
from django.db import models
from rest_framework.request import Request

from catalog.rest.parameters import Reader, whole
from catalog.rest.problems import Fault, Invalid

Row = TypeVar("Row", bound=models.Model)
Item = TypeVar("Item")

DEFAULT_LIMIT = 50
MAX_LIMIT = 500
MAX_CURSOR = 2000

# Without a time in it, so that the same page has the same bytes and the same entity tag.
_SIGNER = Signer(salt="catalog.rest.paging")


def _cursor_text(raw: str) -> str:
    if len(raw) > MAX_CURSOR:
        raise ValueError("This is not a cursor of this list; take it from `next`.")
    return raw


PAGE_PARAMETERS: Mapping[str, Reader] = {
    "limit": whole(minimum=1, maximum=MAX_LIMIT).saying("Rows of a page at most."),
    "after": Reader(
        _cursor_text, {"type": "string", "minLength": 1, "maxLength": MAX_CURSOR}
    ).saying("Where the page begins; take it from `next` of the page before."),
}
"""Parameters of every list."""


@dataclass(frozen=True, slots=True)
class PageAsked:
    """Which page of a list is wanted: at most `limit` rows after the key `after`.

    A cursor belongs to one list with one set of filters; `after` is None on the first page.
    """

    path: str
    filters: tuple[tuple[str, str], ...]
    limit: int
    limit_given: bool
    after: Any

    def link(self, key: Any) -> str:
        """The address of the page that follows the row with that key (plain JSON data)."""
        cursor = _SIGNER.sign_object({"key": key, "list": _fingerprint(self.path, self.filters)})
        limit = (("limit", str(self.limit)),) if self.limit_given else ()
        return f"{self.path}?{urlencode((*self.filters, *limit, ('after', cursor)))}"


@dataclass(frozen=True, slots=True)
class Page(Generic[Item]):
    """Rows of one page and the address of the next, None after the last."""

    rows: list[Item]
    next: str | None


def _fingerprint(path: str, filters: tuple[tuple[str, str], ...]) -> str:
    text = f"{path}?{urlencode(sorted(filters))}"
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]


def page_asked(request: Request, *, given: Mapping[str, Any], size: int) -> PageAsked:
    """The page that a request wants, of `size` rows unless it says otherwise.

    Raises `Invalid` for a cursor of another list.
    """
    filters = tuple(
        (name, str(value))
        for name, value in request.query_params.items()
        if name not in PAGE_PARAMETERS and value != ""
    )
    after = None
    if "after" in given:
        try:
            content = _SIGNER.unsign_object(given["after"])
            if content["list"] != _fingerprint(request.path, filters):
                raise BadSignature
        except BadSignature:
            raise Invalid(
                [Fault("after", "This is not a cursor of this list; take it from `next`.")]
            ) from None
        after = content["key"]
    return PageAsked(
        path=request.path,
        filters=filters,
        limit=given.get("limit", size),
        limit_given="limit" in given,
        after=after,
    )


def keyset_page(
    rows: models.QuerySet[Row], *, asked: PageAsked, key: str, newest_first: bool = False
) -> Page[Row]:
    """One page of a queryset in the order of a unique column."""
    if asked.after is not None:
        rows = rows.filter(**{f"{key}__{'lt' if newest_first else 'gt'}": asked.after})
    ordered = rows.order_by(f"-{key}" if newest_first else key)
    found = list(ordered[: asked.limit + 1])
    if len(found) <= asked.limit:
        return Page(found, None)
    found.pop()
    last = getattr(found[-1], key)
    return Page(found, asked.link(last if isinstance(last, int | str) else str(last)))


def sequence_page(
    rows: Sequence[Item], *, asked: PageAsked, key: Callable[[Item], Sequence[int | float | str]]
) -> Page[Item]:
    """One page of a short list that is computed as a whole and stands in the order of `key`.

    No two rows have the same key. Rows that come in or go out between two pages move no others.
    """
    start = 0
    if asked.after is not None:
        if not isinstance(asked.after, list):
            raise Invalid(
                [Fault("after", "This cursor is of an earlier release; begin the walk anew.")]
            )
        start = bisect_right(rows, asked.after, key=lambda row: list(key(row)))
    stop = start + asked.limit
    more = stop < len(rows)
    return Page(list(rows[start:stop]), asked.link(list(key(rows[stop - 1]))) if more else None)
