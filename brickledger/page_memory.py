"""Pages as readers were given them, kept for as long as nothing was changed.

A page of a large bench takes many times the work of an empty one, and readers without an account
all see the same. It is kept ready to send under the stamp of the ledger and the newest write,
both read before it was made; so a reader never gets a page that is older than the moment it was
asked for. What changes behind both, by hand in the database or while a run is computed again,
shows after `PAGE_SECONDS` at most.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.cache import get_conditional_response

from catalog.models import Write
from comparisons.queries.cache import StampedCache
from measurements.models import Ledger

CAPACITY = 64 << 20
"""Bytes that one process keeps."""
LARGEST = 2 << 20
"""Bytes of the largest page that is kept."""
NEWEST = 64
"""Writes that are looked at: of two at once, the one of the lower number may be kept last."""
OF_A_PERSON = ("messages", settings.SESSION_COOKIE_NAME)
"""Cookies with which a page may be somebody's own."""
NOT_KEPT = ("/api/", "/admin/", settings.STATIC_URL)


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer ready to send, and when it was made [s of the process's clock]."""

    content: bytes
    headers: tuple[tuple[str, str], ...]
    made_s: float

    def response(self, request: HttpRequest) -> HttpResponse:
        """The answer once more, or only that it is the one that whoever asks has."""
        response = HttpResponse(self.content)
        for name, value in self.headers:
            response.headers[name] = value
        known = get_conditional_response(request, etag=response["ETag"], response=response)
        return known or response


remembered: StampedCache[Kept] = StampedCache(capacity=CAPACITY)


def stamp() -> tuple[Any, ...]:
    """What has to be the same for a page to be the same; two queries."""
    newest = Write.objects.order_by("-pk").values_list("pk", flat=True)[:NEWEST]
    return Ledger.read(), tuple(newest), timezone.now().date()


class PageMemoryMiddleware:
    """Answer readers without an account with what is kept.

    It stands outside of what compresses, so that a page is compressed once.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The kept answer, or a new one, which is kept if it is a page for everybody."""
        if not _is_for_everybody(request):
            return self.get_response(request)
        is_packed = "gzip" in request.headers.get("Accept-Encoding", "")
        # The query as it came: spelled alike, two that mean different things would be one.
        asked = f"{request.path}?{request.META.get('QUERY_STRING', '')}"
        place = (request.scheme, request.get_host(), asked, is_packed)
        present = stamp()
        kept = remembered.get(place, stamp=present)
        if kept is not None and time.monotonic() - kept.made_s < settings.PAGE_SECONDS:
            return kept.response(request)
        response = self.get_response(request)
        if _is_kept(response):
            made = Kept(response.content, tuple(response.items()), time.monotonic())
            remembered.put(place, made, stamp=present, size=len(made.content) + len(asked))
        return response


def _is_for_everybody(request: HttpRequest) -> bool:
    return (
        settings.PAGE_SECONDS > 0
        and request.method == "GET"
        and not request.path_info.startswith(NOT_KEPT)
        and "Authorization" not in request.headers
        and not any(name in request.COOKIES for name in OF_A_PERSON)
    )


def _is_kept(response: HttpResponse) -> bool:
    return (
        response.status_code == 200
        and not response.streaming
        and not response.cookies
        and "ETag" in response.headers
        and response.headers.get("Content-Type", "").startswith("text/html")
        and len(response.content) <= LARGEST
    )
