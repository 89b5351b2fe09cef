"""The view that every call of the API starts from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from django.contrib.auth.models import AbstractBaseUser, AnonymousUser, User
from django.utils.functional import cached_property
from rest_framework.exceptions import NotAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from catalog.rest.conditions import entity_tag
from catalog.rest.fields import Body
from catalog.rest.paging import DEFAULT_LIMIT, PageAsked, page_asked
from catalog.rest.parameters import Reader, read_parameters
from catalog.rest.parsers import StrictJSONParser
from catalog.rest.problems import LengthRequired


class ApiView(APIView):
    """Strict parameters, a permission for each method that writes, JSON bodies.

    `parameters` are those of GET; no other method has any. `permissions` names what a method
    needs; a method that writes and is not named asks only for an account.
    """

    parser_classes = [StrictJSONParser]
    page_size: ClassVar[int] = DEFAULT_LIMIT
    parameters: ClassVar[Mapping[str, Reader]] = {}
    permissions: ClassVar[Mapping[str, str]] = {}

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
