"""Errors of the API that a client can act on, as exceptions (RFC 9457 gives their shape).

`brickledger.problems` turns these, and every other exception, into answers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from rest_framework.exceptions import APIException

BODY = "body"
"""The `field` of an error that concerns the whole body."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: the field it is about, and a sentence."""

    field: str
    detail: str

    def as_json(self) -> dict[str, str]:
        """The shape of the public contract."""
        return {"field": _sendable(self.field), "detail": _sendable(self.detail)}


def _sendable(text: str) -> str:
    """The text with lone surrogates spelt out: JSON may bring them, UTF-8 cannot send them."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


class ApiProblem(APIException):
    """A problem with a stable name; subclasses give status, name and title."""

    name = "refused"
    title = "The request cannot be done"

    def __init__(self, detail: str, *, faults: Iterable[Fault] = ()) -> None:
        super().__init__(detail)
        self.faults = tuple(faults)


class Invalid(ApiProblem):
    """Something in the request is wrong; every fault is named at once."""

    status_code = 400
    name = "validation"
    title = "Something in the request is not valid"

    def __init__(self, faults: Iterable[Fault]) -> None:
        faults = tuple(faults)
        super().__init__(
            "1 thing is wrong; see errors."
            if len(faults) == 1
            else f"{len(faults)} things are wrong; see errors.",
            faults=faults,
        )


class Conflict(ApiProblem):
    """The request is sound, but the state of things does not allow it."""

    status_code = 409
    name = "conflict"
    title = "The present state does not allow this"


class LengthRequired(ApiProblem):
    """A body whose length was not stated beforehand."""

    status_code = 411
    name = "length-required"
    title = "Say how long the body is"


class PreconditionFailed(ApiProblem):
    """Somebody changed the thing since the client read it."""

    status_code = 412
    name = "stale"
    title = "It has changed since you read it"


class PayloadTooLarge(ApiProblem):
    """More bytes than are accepted."""

    status_code = 413
    name = "too-large"
    title = "The body is too large"


class KeyUsedBefore(ApiProblem):
    """An Idempotency-Key that stands for another request."""

    status_code = 422
    name = "key-used"
    title = "The key was used for another request"


class PreconditionRequired(ApiProblem):
    """A change that does not say what it is a change of."""

    status_code = 428
    name = "condition-required"
    title = "Say which version you are changing"


def faults_of(detail: Any, *, field: str = "") -> list[Fault]:
    """The nested messages of a validation error as a flat list.

    A field inside another is named by its path, list positions counted from 0:
    ``ports.1.label``.
    """
    if isinstance(detail, Mapping):
        faults: list[Fault] = []
        for name, inner in detail.items():
            own = name in ("non_field_errors", "__all__")
            faults += faults_of(inner, field=field if own else _joined(field, str(name)))
        return faults
    if isinstance(detail, list | tuple):
        faults = []
        for position, inner in enumerate(detail):
            nested = isinstance(inner, Mapping | list | tuple)
            path = _joined(field, str(position)) if nested else field
            faults += faults_of(inner, field=path)
        return faults
    return [Fault(field or BODY, str(detail))]


def _joined(field: str, name: str) -> str:
    return f"{field}.{name}" if field else name
