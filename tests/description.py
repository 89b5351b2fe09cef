"""Every answer of the API that any test gets is held against the API's description."""

from __future__ import annotations

import copy
import gzip
import json
import re
from functools import cache
from typing import Any

import jsonschema_rs
from django.http.response import HttpResponseBase

from brickledger.api_description import DOCUMENT

ROOT = "/api/v1/"
METHODS = ("get", "post", "patch")


@cache
def described() -> dict[str, Any]:
    """The description as it is committed."""
    found: dict[str, Any] = json.loads(DOCUMENT.read_text(encoding="utf-8"))
    return found


@cache
def _components() -> dict[str, Any]:
    """The shapes, closed: a member that nobody described is a fault here, not for clients."""
    found = copy.deepcopy(described()["components"])
    for shape in found["schemas"].values():
        if shape.get("properties"):
            shape.setdefault("additionalProperties", False)
    return dict(found)


@cache
def _addresses() -> list[tuple[re.Pattern[str], dict[str, Any]]]:
    return [
        (re.compile(re.sub(r"\{\w+\}", "[^/]+", address)), calls)
        for address, calls in described()["paths"].items()
    ]


@cache
def _validator(address: str, method: str, status: str, media: str) -> Any:
    calls = next(calls for pattern, calls in _addresses() if pattern.pattern == address)
    shape = calls[method]["responses"][status]["content"][media].get("schema", {})
    return jsonschema_rs.Draft202012Validator(
        {**shape, "components": _components()}, validate_formats=True
    )


def call_of(path: str) -> tuple[str, dict[str, Any]] | None:
    """The pattern of an address and what may be done there; None for one that is not described.

    The first that fits whole: no address of ours hides another.
    """
    return next(
        ((pattern.pattern, calls) for pattern, calls in _addresses() if pattern.fullmatch(path)),
        None,
    )


def check(method: str, path: str, answer: HttpResponseBase) -> None:
    """Raise `AssertionError` where an answer is not as described."""
    found = call_of(path)
    if path == f"{ROOT}docs/":
        return  # the page for people
    if found is None or method.lower() not in found[1]:
        assert answer.status_code >= 300, f"{method} {path} is not described"
        return
    address, calls = found
    responses = calls[method.lower()]["responses"]
    status = str(answer.status_code)
    if status not in responses:
        assert answer.status_code >= 400, f"{method} {path}: {status} is not described"
        status = "default"
    content = responses[status].get("content")
    if not content:
        return
    media = answer.headers["Content-Type"].partition(";")[0]
    assert media in content, f"{method} {path}: {status} came as {media}, described: {[*content]}"
    if media.endswith("json") and not answer.streaming:
        content = b"".join(answer)  # whatever kind of answer it is
        packed = answer.headers.get("Content-Encoding") == "gzip"
        body = json.loads(gzip.decompress(content) if packed else content)
        error = next(_validator(address, method.lower(), status, media).iter_errors(body), None)
        assert error is None, f"{method} {path}: {status} is not as described: {error}"
