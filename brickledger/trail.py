"""The trail of what people change over pages: told by what the database kept, not by answers.

A page answers a success with a redirection, a page or JSON, and some refusals with a
redirection too. What was committed is the same for all of them.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from django.contrib.auth.models import AbstractBaseUser
from django.db import DatabaseError, connection, transaction
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import Resolver404, resolve

from brickledger.addresses import client_address
from catalog.models import Write

logger = logging.getLogger(__name__)

UNSAFE = frozenset({"POST", "PUT", "PATCH", "DELETE"})
API_ROOT = "/api/"
NOT_FOLLOWED = frozenset({"sign-in", "sign-out", "admin:login", "admin:logout"})
"""Who comes and goes is no change of what the site holds."""
LONGEST_PATH = 300

_CHANGE = re.compile(r'\s*(?:INSERT|UPDATE|DELETE)\b[^"]*"(\w+)"', re.IGNORECASE)
_BESIDE = frozenset({"django_session", "django_content_type"})
"""Tables of the framework's own memory."""


@dataclass(slots=True)
class Changes:
    """Whether anything was changed, and the change kept."""

    kept: bool = False

    def keep(self) -> None:
        """Note that a change was committed."""
        self.kept = True


def is_followed(request: HttpRequest) -> bool:
    """Whether a request is one that may change something over a page."""
    if request.method not in UNSAFE or request.path_info.startswith(API_ROOT):
        return False
    try:
        return resolve(request.path_info).view_name not in NOT_FOLLOWED
    except Resolver404:
        return False


@contextmanager
def watching() -> Iterator[Changes]:
    """Notice what is committed to the database inside the block."""
    changes = Changes()

    def look(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        result = execute(sql, params, many, context)
        found = _CHANGE.match(sql)
        if found and found[1] not in _BESIDE and not changes.kept:
            # Dropped by the database layer with the transaction, or part of it, that fails.
            transaction.on_commit(changes.keep)
        return result

    with connection.execute_wrapper(look):
        yield changes


def record(request: HttpRequest, response: HttpResponseBase, *, by: AbstractBaseUser) -> None:
    """Add a row to the trail. What was changed stays changed when that fails; the log tells."""
    address = client_address(request)
    try:
        Write.objects.create(
            door=Write.Door.PAGE,
            user_id=by.pk,
            address=None if address is None else str(address),
            method=request.method or "",
            path=request.path[:LONGEST_PATH],
            status=response.status_code,
            subject=_subject(request, response)[:LONGEST_PATH],
        )
    except DatabaseError:
        logger.exception("A change by %s at %s is not in the trail", by, request.path)


def _subject(request: HttpRequest, response: HttpResponseBase) -> str:
    """Where the answer sent the person, which is the page of what was made or changed."""
    return urlsplit(response.headers.get("Location", "")).path or request.path
