"""Errors of the API as RFC 9457 problem details; nothing under /api/v1/ answers otherwise."""

from __future__ import annotations

import errno
import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Any

from django.core.exceptions import PermissionDenied as DjangoPermissionDenied
from django.core.exceptions import (
    RequestDataTooBig,
    SuspiciousOperation,
    TooManyFieldsSent,
    TooManyFilesSent,
)
from django.core.exceptions import ValidationError as ModelValidationError
from django.db import DataError, IntegrityError, InterfaceError, OperationalError
from django.db.models import ProtectedError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, UnreadablePostError
from django.views import defaults
from rest_framework import exceptions
from rest_framework.response import Response

from catalog.rest.problems import (
    ApiProblem,
    Conflict,
    Fault,
    Invalid,
    PayloadTooLarge,
    faults_of,
)
from comparisons.actions import Refused as TableRefused
from measurements.actions import Refused as RunRefused
from measurements.intake.rawstore import TooLarge

logger = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
API_ROOT = "/api/v1/"
DISK_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})

Reading = Callable[[Any], "Problem"]


@dataclass(frozen=True, slots=True)
class Problem:
    """What a client is told: a stable `name`, a title, a status, a sentence, the faults."""

    status: int
    name: str
    title: str
    detail: str
    faults: Sequence[Fault] = ()
    headers: Mapping[str, str] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """The members of RFC 9457 and our `errors`."""
        return {
            "type": f"urn:brickledger:problem:{self.name}",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            "errors": [fault.as_json() for fault in self.faults],
        }


def problem_response(error: Exception, context: Mapping[str, Any]) -> Response:
    """The answer to any exception of an API view. What nobody foresaw is logged, not told."""
    problem = problem_of(error)
    if problem.status >= 500:
        logger.error("%s in the API", type(error).__name__, exc_info=error)
    return Response(
        problem.as_json(),
        status=problem.status,
        headers=dict(problem.headers),
        content_type=MEDIA_TYPE,
    )


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """The site's answer to a request refused before any view, such as one for another host."""
    if not request.path_info.startswith(API_ROOT):
        return defaults.bad_request(request, exception)
    problem = _malformed("The request was refused as it came; check its host and headers.")
    return JsonResponse(problem.as_json(), status=problem.status, content_type=MEDIA_TYPE)


def server_error(request: HttpRequest) -> HttpResponse:
    """The site's answer to an exception outside every view."""
    if not request.path_info.startswith(API_ROOT):
        return defaults.server_error(request)
    problem = _unforeseen(Exception())
    return JsonResponse(problem.as_json(), status=problem.status, content_type=MEDIA_TYPE)


def problem_of(error: Exception) -> Problem:
    """The problem that stands for an exception; the first kind that fits decides."""
    for kind, reading in _READINGS:
        if isinstance(error, kind):
            return reading(error)
    return _unforeseen(error)


def _unforeseen(error: Exception) -> Problem:
    return Problem(
        500, "server-error", "Something went wrong here", "The error was written to the site's log."
    )


def _own(error: ApiProblem) -> Problem:
    return Problem(error.status_code, error.name, error.title, str(error.detail), error.faults)


def _invalid(faults: Iterable[Fault]) -> Problem:
    return _own(Invalid(faults))


def _model_invalid(error: ModelValidationError) -> Problem:
    by_field = hasattr(error, "error_dict")
    return _invalid(faults_of(error.message_dict if by_field else error.messages))


def _malformed(detail: str) -> Problem:
    return Problem(400, "malformed", "The request cannot be read", detail)


def _too_large(detail: str) -> Problem:
    return _own(PayloadTooLarge(detail))


def _unauthenticated(error: exceptions.APIException) -> Problem:
    # The framework puts the challenge of the first way to sign in on the exception.
    challenge = getattr(error, "auth_header", 'Bearer realm="brickledger"')
    detail = (
        "Send “Authorization: Bearer TOKEN” with a token of this site."
        if isinstance(error, exceptions.NotAuthenticated)
        else str(error.detail)
    )
    headers = {"WWW-Authenticate": challenge}
    return Problem(401, "unauthenticated", "An account is needed", detail, headers=headers)


def _forbidden(detail: str) -> Problem:
    return Problem(403, "forbidden", "Your account may not do this", detail)


def _not_found(error: Exception) -> Problem:
    said = isinstance(error, exceptions.NotFound) and str(error.detail)
    return Problem(404, "not-found", "Not found", said or "There is nothing at this address.")


def _method(error: exceptions.MethodNotAllowed) -> Problem:
    detail = f"{error.detail} The header Allow names what can be done here."
    return Problem(405, "method", "This cannot be done here", detail)


def _media_type(error: exceptions.UnsupportedMediaType) -> Problem:
    detail = f"{str(error.detail)[:200]} JSON is taken, and for runs a multipart form."
    return Problem(415, "media-type", "This content type is not taken here", detail)


def _throttled(error: exceptions.Throttled) -> Problem:
    wait = max(1, ceil(getattr(error, "wait", None) or 1))
    detail = f"The limit of requests is reached. Try again in {wait} s."
    return Problem(429, "too-many", "Too many requests", detail, headers={"Retry-After": str(wait)})


def _refused(error: RunRefused | TableRefused) -> Problem:
    faults = [Fault(error.field, error.detail)] if error.field else []
    return _own(Conflict(error.detail, faults=faults))


def _protected(error: ProtectedError) -> Problem:
    kinds = sorted({str(row._meta.verbose_name_plural) for row in error.protected_objects})
    return _own(Conflict(f"What this would remove is still used by {' and '.join(kinds)}."))


def _collided(error: IntegrityError) -> Problem:
    logger.warning("A write collided with another", exc_info=error)
    detail = "Somebody wrote the same thing at the same moment. Read it again and repeat."
    return _own(Conflict(detail))


def _not_storable(error: DataError) -> Problem:
    logger.warning("The database refused a value", exc_info=error)
    return _invalid([Fault("body", "A value cannot be stored as it is.")])


def _busy(error: Exception) -> Problem:
    title, detail = "The site is busy or its database is away", "Nothing was changed; try again."
    return Problem(503, "busy", title, detail, headers={"Retry-After": "5"})


def _system(error: OSError) -> Problem:
    if error.errno in DISK_FULL:
        detail = "There is no room for the file. Nothing of it was kept; tell the site's keeper."
        return Problem(507, "storage-full", "The site's storage is full", detail)
    # A person's lack of permission carries no number; the file system's always does.
    if isinstance(error, PermissionError) and error.errno is None:
        return _forbidden(str(error))
    return _unforeseen(error)


_READINGS: tuple[tuple[type[Exception] | tuple[type[Exception], ...], Reading], ...] = (
    (ApiProblem, _own),
    (exceptions.ValidationError, lambda error: _invalid(faults_of(error.detail))),
    (ModelValidationError, _model_invalid),
    (exceptions.ParseError, lambda error: _malformed(str(error.detail))),
    ((exceptions.NotAuthenticated, exceptions.AuthenticationFailed), _unauthenticated),
    (exceptions.PermissionDenied, lambda error: _forbidden(str(error.detail))),
    (DjangoPermissionDenied, lambda error: _forbidden("Your account may not do this.")),
    ((exceptions.NotFound, Http404), _not_found),
    (exceptions.MethodNotAllowed, _method),
    (exceptions.UnsupportedMediaType, _media_type),
    (exceptions.Throttled, _throttled),
    ((RunRefused, TableRefused), _refused),
    (TooLarge, lambda error: _too_large(str(error))),
    (RequestDataTooBig, lambda error: _too_large("The body's text fields are too large.")),
    (TooManyFieldsSent, lambda error: _malformed("There are too many fields.")),
    (TooManyFilesSent, lambda error: _malformed("There are too many files.")),
    (SuspiciousOperation, lambda error: _malformed("The request cannot be what it says it is.")),
    (UnreadablePostError, lambda error: _malformed("The body ended before it was complete.")),
    (ProtectedError, _protected),
    (IntegrityError, _collided),
    (DataError, _not_storable),
    ((OperationalError, InterfaceError), _busy),
    (OSError, _system),
)
