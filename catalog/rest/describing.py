"""The description of the API (OpenAPI 3.1), made from the views themselves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework.permissions import SAFE_METHODS
from rest_framework.serializers import ListField, Serializer

from catalog.rest.calls import SAID, STORABLE, Call, Download, FormBody, ProblemAnswer
from catalog.rest.fields import Body
from catalog.rest.parameters import bounds
from catalog.rest.parsers import WholeMultiPartParser

JSON = "application/json"
PROBLEM = "application/problem+json"
TOKEN = "token"

_TAG = {"type": "string"}
_KEY = {"type": "string", "minLength": 1, "maxLength": 200, "pattern": r"^[!-~]+$"}

ALWAYS = {
    400: "Something in the request is not valid; `errors` names every fault.",
    429: "Too many requests; `Retry-After` says how many seconds to wait.",
    503: "The site is busy; `Retry-After` says how many seconds to wait. Nothing was changed.",
}
WRITING = {
    401: "No token, or one that is unknown, expired or revoked.",
    403: "This account or token may not do this.",
    409: "The present state does not allow this.",
    411: "The length of the body was not stated.",
    413: "The body is larger than is taken.",
    415: "This content type is not taken here.",
    422: "The Idempotency-Key was used before for another request.",
}
CHANGING = {
    412: "It has changed since it was read.",
    428: "If-Match is missing.",
}
NOT_FOUND = {404: "There is nothing at this address, or nothing that this caller may see."}


class Generator(SchemaGenerator):
    """Every call but the one that answers what is not there."""

    def _initialise_endpoints(self) -> None:
        super()._initialise_endpoints()
        endpoints: Any = self.endpoints
        self.endpoints = [item for item in endpoints if item[3].cls.calls]


class Describer(AutoSchema):
    """One call, described by its view's `calls`, `parameters` and docstrings."""

    @property
    def call(self) -> Call:
        """The declaration of this method. Raises `KeyError` for a view that lacks one."""
        found: Call = self._ours.calls[self.method]
        return found

    @property
    def _ours(self) -> Any:
        """The view; all of the API's are of one class, which imports this one's declarations."""
        return self.view

    @property
    def is_write(self) -> bool:
        """Whether the call changes anything."""
        return self.method not in SAFE_METHODS and self.call.writes

    def get_operation_id(self) -> str:
        """The method and the address in words, such as ``post_runs_accept``."""
        words = [word for word in self.path.split("/") if word][2:]
        plain = [word if not word.startswith("{") else "one" for word in words] or ["index"]
        return "_".join([self.method.lower(), *plain]).replace("-", "_")

    def get_tags(self) -> list[str]:
        """The first word of the address."""
        return [next(iter(word for word in self.path.split("/")[3:] if word), "index")]

    def get_summary(self) -> str:
        """The first sentence or paragraph of the handler's docstring."""
        return self._said()[0]

    def get_description(self) -> str:  # type: ignore[override]  # as the library itself does
        """The rest of the docstring, and which permission is needed."""
        needed = self._ours.permissions.get(self.method)
        rule = [f"Needs the permission `{needed}`."] if needed else []
        return "\n\n".join([*self._said()[1:], *rule])

    def _said(self) -> list[str]:
        handler = getattr(self.view, self.method.lower())
        paragraphs = (handler.__doc__ or "").strip().split("\n\n")
        return [" ".join(paragraph.split()) for paragraph in paragraphs]

    def get_override_parameters(self) -> list[Any]:
        """Query, header and answer header parameters."""
        found = [
            OpenApiParameter(
                name, dict(reader.schema), description=reader.says, required=reader.required
            )
            for name, reader in (self._ours.parameters if self.method == "GET" else {}).items()
        ]
        if self.method == "GET":
            found += [
                _header("If-None-Match", _TAG, "An ETag; 304 while the answer is the same."),
                _header("ETag", _TAG, "The version of the answer.", [200]),
            ]
        if self.is_write:
            found.append(
                _header(
                    "Idempotency-Key",
                    _KEY,
                    "The same request under the same key is done once and answered alike for "
                    "seven days.",
                )
            )
        if self.call.if_match:
            needed = "The ETag of the version that is changed, or *."
            found.append(_header("If-Match", _TAG, needed, required=True))
            found.append(_header("ETag", _TAG, "The new version.", [200]))
        if self.call.location:
            shown = {"type": "string", "format": "uri-reference"}
            codes = list(self.call.location)
            found.append(_header("Location", shown, "Where it is to be found.", codes))
        waits = {"type": "integer", "minimum": 0}
        found.append(_header("Retry-After", waits, "Seconds to wait.", [429, 503]))
        return found

    def get_request_serializer(self) -> Any:
        """The body, as its content type takes it."""
        body = self.call.body
        if body is None:
            return None
        if isinstance(body, FormBody):
            return {WholeMultiPartParser.media_type: body.schema}
        return {JSON: body}

    def _get_request_body(self, direction: str = "request") -> Any:
        """A form is always needed; of an object that shows from its members."""
        found = super()._get_request_body(direction)
        if isinstance(self.call.body, FormBody):
            found["required"] = True
        return found

    def get_response_serializers(self) -> Any:
        """What may be answered: each success, and each problem with its meaning."""
        found: dict[Any, Any] = {}
        for status, shape in self.call.answers.items():
            said = OpenApiResponse(_shape(shape), description=_meaning(status))
            found[(str(status), *_media(shape))] = said
        if self.method == "GET":
            found["304"] = OpenApiResponse(description="The answer is the one that you have.")
        for status, meaning in sorted(self._problems().items()):
            said = OpenApiResponse(ProblemAnswer, description=meaning)
            found[(str(status), PROBLEM)] = said
        said = OpenApiResponse(ProblemAnswer, description="Any other refusal.")
        found[("default", PROBLEM)] = said
        return found

    def _problems(self) -> dict[int, str]:
        found = {**ALWAYS}
        if "{" in self.path or self.call.body is not None:
            found |= NOT_FOUND
        if self.is_write:
            found |= WRITING
        elif self.call.body is not None:
            found |= {code: WRITING[code] for code in (411, 413, 415)}
        elif self.view.authentication_classes:
            found |= {401: WRITING[401]}
        return found | (CHANGING if self.call.if_match else {})

    def _map_serializer(
        self, serializer: Any, direction: str, bypass_extensions: bool = False
    ) -> Any:
        """Close the objects of a body: there a member that is not named is an error."""
        schema = super()._map_serializer(serializer, direction, bypass_extensions)
        kind = serializer if isinstance(serializer, type) else type(serializer)
        if issubclass(kind, Body):
            schema = {**schema, **kind.rules, "additionalProperties": False}
        return schema

    def _map_serializer_field(
        self, field: Any, direction: str, bypass_extensions: bool = False
    ) -> Any:
        """Let the items of a list be null where their shape says so."""
        schema = super()._map_serializer_field(field, direction, bypass_extensions)
        child = getattr(field, "child", None)
        if isinstance(field, ListField) and isinstance(child, Serializer) and child.allow_null:
            schema = {**schema, "items": {"oneOf": [schema["items"], {"type": "null"}]}}
        return schema

    def get_auth(self) -> list[Any]:
        """A token for writing; for reading it is optional."""
        if not self.view.authentication_classes:
            return [{}]
        return [{TOKEN: []}] if self.is_write else [{TOKEN: []}, {}]

    def get_serializer_name(self, serializer: Any, direction: str) -> str:
        """The shape's own name; that it is an answer shows from where it stands."""
        return type(serializer).__name__.removesuffix("Answer")


def _header(
    name: str,
    schema: Mapping[str, Any],
    says: str,
    answers: list[int] | None = None,
    *,
    required: bool = False,
) -> OpenApiParameter:
    return OpenApiParameter(
        name,
        dict(schema),
        OpenApiParameter.HEADER,
        required=required,
        description=says,
        response=answers or False,
    )


def _shape(shape: Any) -> Any:
    return {"type": "string", "format": "binary"} if isinstance(shape, Download) else shape


def _media(shape: Any) -> tuple[str, ...]:
    return shape.media_types if isinstance(shape, Download) else (JSON,)


def _meaning(status: int) -> str:
    return {200: "Done.", 201: "Made.", 202: "Received; it is worked on."}[status]


class _NumberFieldSchema(OpenApiSerializerFieldExtension):
    target_class = "catalog.rest.fields.NumberField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: str) -> dict[str, Any]:
        """A number and its range."""
        field = self.target
        return {"type": "number", **bounds(field.minimum, field.maximum, field.above)}


class _TextFieldSchema(OpenApiSerializerFieldExtension):
    target_class = "catalog.rest.fields.TextField"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: str) -> dict[str, Any]:
        """A text that can be stored; one that must be said is more than blanks."""
        field = self.target
        if field.known:
            return {"type": "string", "enum": list(field.known)}
        longest = {"maxLength": field.max_length} if field.max_length else {}
        return {"type": "string", "pattern": STORABLE if field.allow_blank else SAID, **longest}


class _WordListSchema(OpenApiSerializerFieldExtension):
    target_class = "catalog.serializers.WordList"

    def map_serializer_field(self, auto_schema: AutoSchema, direction: str) -> dict[str, Any]:
        """Words of power data objects."""
        return dict(self.target.schema)
