"""What happens around every request: headers of our own, and the trail of pages."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from brickledger import rate_limits, trail
from brickledger.addresses import client_address

POLICY = (
    "default-src 'none'; img-src 'self' data:; style-src 'self'; script-src 'self'; "
    "connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)


Answer = Callable[[HttpRequest], HttpResponse]


class ContentSecurityPolicyMiddleware:
    """Let pages load nothing from another host and run nothing written into the page.

    A view that serves a stranger's bytes may set a stricter policy; it is left alone.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request with the policy added."""
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        return response


class ClientAddressMiddleware:
    """Put the client's address where everything looks for it, also behind our own proxies."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request as the client's."""
        address = client_address(request)
        if address is not None:
            request.META["REMOTE_ADDR"] = str(address)
        return self.get_response(request)


class RateLimitMiddleware:
    """Tell callers of the API how much of their limit is left."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request with what was counted."""
        response = self.get_response(request)
        rate_limits.tell(request, response)
        return response


class TrailMiddleware:
    """Write down what people change over pages; the API keeps its own trail.

    It stands behind the one that knows who is signed in.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request and record it, if it changed something."""
        if not trail.is_followed(request):
            return self.get_response(request)
        # Asked before the view, which may sign somebody in or out.
        person = request.user if request.user.is_authenticated else None
        with trail.watching() as changes:
            response = self.get_response(request)
        if person is not None and changes.kept:
            trail.record(request, response, by=person)
        return response
