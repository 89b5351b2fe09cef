"""The view that every call of the API starts from."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any, ClassVar

from django.conf import settings
from django.contrib.auth.models import AbstractBaseUser, AnonymousUser, User
from django.utils.cache import patch_vary_headers
from django.utils.functional import cached_property
from rest_framework.exceptions import MethodNotAllowed, NotAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from catalog.rest.calls import Call
from catalog.rest.conditions import entity_tag
from catalog.rest.fields import Body
from catalog.rest.paging import DEFAULT_LIMIT, PageAsked, page_asked
from catalog.rest.parameters import Reader, read_parameters
from catalog.rest.parsers import StrictJSONParser
from catalog.rest.problems import LengthRequired
from catalog.rest.writing import recorded

PUBLIC = "public, max-age=60, stale-while-revalidate=60"
"""For whom and for how many seconds an answer keeps (RFC 9111, 5.2.2; RFC 5861, 3)."""


class ApiView(APIView):
    """Strict parameters, a permission for each method that writes, JSON bodies.

    `parameters` are those of GET; no other method has any. `permissions` names what a method
    needs; a method that writes and is not named asks only for an account. `calls` describes every
    method that there is.
    """

    parser_classes = [StrictJSONParser]
    page_size: ClassVar[int] = DEFAULT_LIMIT
    parameters: ClassVar[Mapping[str, Reader]] = {}
    permissions: ClassVar[Mapping[str, str]] = {}
    calls: ClassVar[Mapping[str, Call]] = {}

    given: dict[str, Any]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Check who asks, then what is asked."""
        super().initial(request, *args, **kwargs)
        if "Transfer-Encoding" in request.headers and not request.META.get("CONTENT_LENGTH"):
            # WSGI knows no body of unknown length; it would be taken for an empty one.
            raise LengthRequired("Send the body with Content-Length, not in chunks.")
        reads = request.method in ("GET", "HEAD")
        known = self.parameters if reads else {}
        self.given = read_parameters(request.query_params, known=known)
        call = self.calls.get(request.method or "")
        if call is not None and call.writes and not reads:
            # The framework calls the handler next; it finds the one of this request here.
            name = str(request.method).lower()
            setattr(self, name, partial(self._recorded, getattr(self, name)))

    def _recorded(self, handler: Any, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Do a write and record it, both or neither.

        The body is read before: on SQLite a transaction is the one that may write, and whoever
        sends slowly would hold it.
        """
        self.prepare(request, *args, **kwargs)
        _ = request.data
        act = partial(handler, request, *args, **kwargs)
        made = self.calls[str(request.method)].made
        return recorded(request, act, made=made, address=request.META.get("REMOTE_ADDR") or None)

    def prepare(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """What a write does before its transaction, and before a repeat of it is answered.

        Slow work, which must not hold the database, and whether this caller may do it at all.
        """

    def finalize_response(
        self, request: Request, response: Response, *args: Any, **kwargs: Any
    ) -> Response:
        """Say who may keep the answer, and for how long.

        What an unknown caller is given is the same for all of them, so that caches between may
        serve it; they ask again after a minute.
        """
        answer = super().finalize_response(request, response, *args, **kwargs)
        patch_vary_headers(answer, ("Authorization", "Cookie"))
        if answer.status_code >= 400 or request.method not in ("GET", "HEAD"):
            answer.headers["Cache-Control"] = "no-store"
        elif self.is_public:
            answer.headers["Cache-Control"] = PUBLIC
        else:
            answer.headers["Cache-Control"] = "private, no-cache"
        return answer

    @property
    def is_public(self) -> bool:
        """Whether nothing about the caller had a part in the answer."""
        if "Authorization" in self.request.headers:
            return False
        return settings.SESSION_COOKIE_NAME not in self.request.COOKIES

    def perform_authentication(self, request: Request) -> None:
        """Know who asks, and whether such a thing can be asked here."""
        self.know_caller(request)
        name = str(request.method).lower()
        if name not in self.http_method_names or not hasattr(self, name):
            # Before the framework asks for permission: nobody has one for what is not there.
            raise MethodNotAllowed(str(request.method))

    def know_caller(self, request: Request) -> None:
        """Know who asks, and count the call before anything else is decided about it."""
        super().perform_authentication(request)
        super().check_throttles(request)

    def check_throttles(self, request: Request) -> None:
        """Done with the authentication: a call that is refused counts like any other."""

    def check_permissions(self, request: Request) -> None:
        """Refuse a method whose permission the person lacks."""
        super().check_permissions(request)
        needed = self.permissions.get(request.method or "")
        if needed and not request.user.has_perm(needed):
            self.permission_denied(request, message="Your account may not do this.")

    @property
    def viewer(self) -> AbstractBaseUser | AnonymousUser:
        """Who reads."""
        return self.request.user

    @property
    def person(self) -> User:
        """Who writes. Raises `NotAuthenticated`."""
        if not isinstance(self.request.user, User):
            raise NotAuthenticated
        return self.request.user

    @cached_property
    def page(self) -> PageAsked:
        """The page of a list that is asked for."""
        return page_asked(self.request, given=self.given, size=self.page_size)


def read_body(kind: type[Body], data: Any) -> dict[str, Any]:
    """The fields of a body. Raises the validation error that names every fault."""
    body = kind(data=data)
    body.is_valid(raise_exception=True)
    return dict(body.validated_data)


def tagged(content: dict[str, Any], **response: Any) -> Response:
    """An answer with a strong entity tag made from its content."""
    answer = Response(content, **response)
    answer["ETag"] = entity_tag(content)
    return answer
