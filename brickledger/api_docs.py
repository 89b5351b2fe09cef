"""The page of documents of the API: made from its description and the examples beside it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from brickledger.api_description import description
from brickledger.roles import PERMISSIONS, ROLES

_CODE = re.compile("`([^`]+)`")
NOTHING: Mapping[str, Any] = {}
EXAMPLES = Path(__file__).with_name("examples")
SCRIPTS = (
    ("upload_folder.py", "At the bench: hand in a folder and wait for the results."),
    ("recompute.py", "Elsewhere: recompute metrics from the data package alone."),
)


@dataclass(frozen=True, slots=True)
class Member:
    """A parameter, or a member of a body or an answer, in words."""

    name: str
    kind: str
    is_required: bool
    says: str


@dataclass(frozen=True, slots=True)
class Reply:
    """A status, what it means and the shape that comes with it."""

    status: str
    says: str
    shape: str


@dataclass(frozen=True, slots=True)
class Operation:
    """A call as the page shows it. `role` is the lowest that may do it, "" for everybody."""

    key: str
    method: str
    address: str
    summary: str
    says: str
    role: str
    parameters: tuple[Member, ...]
    media_type: str
    body_says: str
    body: tuple[Member, ...]
    replies: tuple[Reply, ...]
    example: str
    opens: str


@dataclass(frozen=True, slots=True)
class Shape:
    """An object of the answers with its members."""

    name: str
    says: str
    members: tuple[Member, ...]


@require_safe
@cache_control(private=True, no_cache=True)  # the page names who is signed in
def docs(request: HttpRequest) -> HttpResponse:
    """Every call with its parameters, answers and an example that can be run."""
    context = {
        "section": "api",
        "groups": _groups(),
        "shapes": _shapes(),
        "scripts": [
            (name, says, EXAMPLES.joinpath(name).read_text("utf-8")) for name, says in SCRIPTS
        ],
        "root": request.build_absolute_uri("/api/v1/"),
    }
    return render(request, "brickledger/api_docs.html", context)


@cache
def _groups() -> dict[str, list[Operation]]:
    """The calls by the first word of their address."""
    groups: dict[str, list[Operation]] = {}
    for address, calls in description()["paths"].items():
        for method, call in calls.items():
            group = groups.setdefault(call["tags"][0], [])
            group.append(_operation(address, method, call))
    return groups


def _operation(address: str, method: str, call: Mapping[str, Any]) -> Operation:
    media_type, body = next(
        iter(call.get("requestBody", NOTHING).get("content", NOTHING).items()), ("", NOTHING)
    )
    shape = _resolved(body.get("schema", NOTHING))
    example = EXAMPLES / "calls" / f"{call['operationId']}.py"
    return Operation(
        key=call["operationId"],
        method=method.upper(),
        address=address,
        summary=_marked(call["summary"]),
        says=_marked(call.get("description", "").partition("Needs the permission")[0].strip()),
        role=_role(call),
        parameters=tuple(
            Member(
                item["name"],
                f"{_kind(item['schema'])}, in the {item['in']}",
                bool(item.get("required")),
                _marked(item.get("description", "")),
            )
            for item in call.get("parameters", ())
        ),
        media_type=media_type,
        body_says=_marked(shape.get("description", "")),
        body=tuple(_members(shape)),
        replies=tuple(_replies(call["responses"])),
        example=example.read_text("utf-8"),
        opens=address if method == "get" and "{" not in address else "",
    )


def _role(call: Mapping[str, Any]) -> str:
    """The lowest role that has the permission, or any account that writes."""
    if {} in call.get("security", [{}]):
        return ""
    needed = call.get("description", "").rpartition("Needs the permission `")[2].partition("`")[0]
    return next((role for role in ROLES if needed in PERMISSIONS[role]), "account")


def _replies(responses: Mapping[str, Any]) -> Iterator[Reply]:
    for status, reply in responses.items():
        schema = next(iter(reply.get("content", NOTHING).values()), NOTHING).get("schema", NOTHING)
        shape = schema.get("$ref", "").rpartition("/")[2]
        yield Reply(status, _marked(reply["description"]), shape or ("a file" if schema else ""))


@cache
def _shapes() -> tuple[Shape, ...]:
    """Every shape by name."""
    return tuple(
        Shape(name, _marked(schema.get("description", "")), tuple(_members(schema)))
        for name, schema in sorted(description()["components"]["schemas"].items())
    )


def _resolved(schema: Mapping[str, Any]) -> Mapping[str, Any]:
    reference = schema.get("$ref", "").rpartition("/")[2]
    found: Mapping[str, Any] = description()["components"]["schemas"].get(reference, schema)
    return found


def _members(schema: Mapping[str, Any]) -> Iterator[Member]:
    required = schema.get("required", ())
    for name, member in schema.get("properties", {}).items():
        says = _marked(member.get("description", ""))
        yield Member(name, _kind(member), name in required, says)


def _marked(text: str) -> SafeString:
    """A text with what stands between backticks as code."""
    pieces = _CODE.split(text)
    return format_html_join(
        "",
        "{}",
        (
            (format_html("<code>{}</code>", piece) if place % 2 else piece,)
            for place, piece in enumerate(pieces)
        ),
    )


def _kind(schema: Mapping[str, Any]) -> str:
    """A JSON Schema in a few words."""
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    for word in ("oneOf", "anyOf", "allOf"):
        if word in schema:
            kinds = (_kind(choice) for choice in schema[word] if choice.get("maxLength") != 0)
            return " or ".join(dict.fromkeys(kinds))
    if "enum" in schema:
        return "one of " + ", ".join("“”" if item == "" else str(item) for item in schema["enum"])
    kinds = schema.get("type", "anything")
    if not isinstance(kinds, str):
        return " or ".join(_kind({**schema, "type": kind}) for kind in kinds)
    if kinds == "array":
        return f"list of {_kind(schema.get('items', {}))}"
    return kinds if kinds == "null" else f"{schema.get('format') or kinds}{_range(schema)}"


def _range(schema: Mapping[str, Any]) -> str:
    least, above = schema.get("minimum"), schema.get("exclusiveMinimum")
    most = schema.get("maximum")
    words = [
        f"from {least:,}" if least is not None else "",
        f"above {above:,}" if above is not None else "",
        f"to {most:,}" if most is not None else "",
        f"of at most {schema['maxLength']:,} signs" if "maxLength" in schema else "",
    ]
    said = " ".join(word for word in words if word)
    return f" {said}" if said else ""
