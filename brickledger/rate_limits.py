"""How many calls of the API a caller may make in a minute, and what it is told about that.

The headers follow the IETF's draft "RateLimit header fields for HTTP"
(draft-ietf-httpapi-ratelimit-headers, revision 10; its syntax is written down from memory).
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from brickledger.addresses import client_address, network_of
from brickledger.models import ApiToken
from brickledger.rate_counts import WINDOW_S, Taken, counter

if TYPE_CHECKING:
    # The views' module needs this one first, through the settings.
    from rest_framework.views import APIView

_TOLD = "rate_told"


@dataclass(frozen=True, slots=True)
class Told:
    """What a caller is told: under which policy it was counted, and what came of it."""

    policy: str
    taken: Taken


class CallerRate(BaseThrottle):
    """So many calls a minute for a token or account, and for an address without either."""

    def __init__(self) -> None:
        self._taken: Taken | None = None

    def allow_request(self, request: Request, view: APIView) -> bool:
        """Whether the call is within its caller's limit; it is counted."""
        if isinstance(request.auth, ApiToken):
            self._taken = _take(request, "token", request.auth.pk)
        elif request.user.is_authenticated:
            self._taken = _take(request, "account", request.user.pk)
        else:
            self._taken = _take(request, "address", _network(request))
        return self._taken is None or self._taken.allowed

    def wait(self) -> float | None:
        """Whole seconds [s] after which the caller, if it stays silent, is let through."""
        return self._taken.wait_s if self._taken else None


def count_failure(request: Request) -> None:
    """Count a call with a wrong token for its address. Raises `Throttled` over the limit."""
    taken = _take(request, "address", _network(request))
    if taken is not None and not taken.allowed:
        raise Throttled(taken.wait_s)


def tell(request: HttpRequest, response: HttpResponseBase) -> None:
    """Add the headers, where the answer is for this caller alone.

    Other answers are kept by proxies for everybody, and one caller's count is not theirs.
    """
    told: Told | None = getattr(request, _TOLD, None)
    if told is None or (told.policy == "address" and told.taken.allowed):
        return
    taken = told.taken
    response["RateLimit-Policy"] = f'"{told.policy}";q={taken.limit};w={WINDOW_S}'
    response["RateLimit"] = f'"{told.policy}";r={taken.remaining};t={taken.wait_s}'


def _network(request: Request) -> str:
    return network_of(client_address(_plain(request)))


def _take(request: Request, policy: str, caller: object) -> Taken | None:
    limit = settings.RATE_ADDRESS if policy == "address" else settings.RATE_TOKEN
    if not limit:
        return None
    taken = counter().take(f"{policy}:{caller}", limit=limit, now_s=time.time())
    if taken is not None:
        setattr(_plain(request), _TOLD, Told(policy, taken))
    return taken


def _plain(request: Request) -> HttpRequest:
    """The web framework's request inside the API framework's."""
    return getattr(request, "_request", request)
