"""What a view says of its calls, for the API's description and for the checks of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rest_framework import serializers

SLUG = r"^[-a-zA-Z0-9_]+$"
# Texts without NUL, which databases cannot hold; one that must be said is more than blanks.
STORABLE = r"^[^\u0000]*$"
SAID = r"^[^\u0000]*[^\u0000\s][^\u0000]*$"


class Answer(serializers.Serializer[Any]):
    """The shape of an answer, or of a part of one. It is only described, never filled."""


@dataclass(frozen=True, slots=True)
class Download:
    """An answer that is a file; `media_types` are those in which it may come."""

    media_types: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FormBody:
    """A multipart form as JSON Schema: a schema for each field, and which must be there."""

    fields: Mapping[str, Mapping[str, Any]]
    required: tuple[str, ...]

    @property
    def schema(self) -> dict[str, Any]:
        """The form as one object."""
        return {
            "type": "object",
            "properties": {name: dict(schema) for name, schema in self.fields.items()},
            "required": list(self.required),
            "additionalProperties": False,
        }


@dataclass(frozen=True, slots=True)
class Call:
    """One method of one address.

    `answers` gives the shape of each successful status. `writes` is False for a POST that changes
    nothing. `if_match` says that the change names the version that it changes.
    """

    answers: Mapping[int, type[Answer] | Download]
    body: type[serializers.Serializer[Any]] | FormBody | None = None
    writes: bool = True
    if_match: bool = False
    location: tuple[int, ...] = field(default=())

    @property
    def made(self) -> frozenset[int]:
        """The statuses that say that something was changed; 200 beside another is: it was there."""
        return frozenset(self.answers) - ({200} if len(self.answers) > 1 else set())


def page_of(kind: type[Answer], **more: serializers.Field[Any, Any, Any, Any]) -> type[Answer]:
    """The shape of a page of a list: its rows, the address of the next page, and `more`."""
    members: dict[str, Any] = {
        "__doc__": "A page of a list; `next` is null on the last one.",
        "__module__": kind.__module__,
        **more,
        "results": serializers.ListField(child=kind()),
        "next": serializers.CharField(allow_null=True),
    }
    return type(f"{kind.__name__.removesuffix('Answer')}Page", (Answer,), members)


class FaultAnswer(Answer):
    """One thing that is wrong: where, and what to do."""

    field = serializers.CharField()
    detail = serializers.CharField()


class ProblemAnswer(Answer):
    """Problem details (RFC 9457); `errors` names every fault of the request."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField(min_value=400, max_value=599)
    detail = serializers.CharField()
    errors = serializers.ListField(  # type: ignore[assignment]  # a member of this name is meant
        child=FaultAnswer()
    )
