"""The description of the API: as committed, whole, and sound."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import jsonschema_rs
import pytest
from django.test import Client
from django.urls import get_resolver

from brickledger.api_description import description
from brickledger.api_urls import METHODS, UnknownAddress, urlpatterns
from tests.description import described

DRAFT = "https://json-schema.org/draft/2020-12/schema"
OPERATIONS = [
    (address, method, call)
    for address, calls in described()["paths"].items()
    for method, call in calls.items()
]


def shapes_of(node: Any) -> Iterator[dict[str, Any]]:
    """Every JSON Schema of the document."""
    if isinstance(node, dict):
        if "schema" in node:
            yield node["schema"]
        for inner in node.values():
            yield from shapes_of(inner)
    elif isinstance(node, list):
        for inner in node:
            yield from shapes_of(inner)


def test_the_committed_description_is_the_one_that_the_code_gives() -> None:
    assert described() == description(), "Run `python manage.py openapi` and commit the file."


def test_it_is_openapi_3_1() -> None:
    assert re.fullmatch(r"3\.1\.\d+", described()["openapi"])
    assert described()["info"]["title"] == "Brickledger"


def test_every_call_of_every_address_is_described() -> None:
    resolver = get_resolver()
    assert resolver is not None
    there = {
        (re.sub(r"<\w+:(\w+)>", r"{\1}", f"/api/v1/{pattern.pattern}"), method)
        for pattern in urlpatterns
        if (view := getattr(pattern.callback, "cls", None)) and view is not UnknownAddress
        for method in METHODS
        if hasattr(view, method)
    }
    assert there == {(address, method) for address, method, _ in OPERATIONS}


def test_every_shape_is_json_schema_of_2020_12() -> None:
    shapes = [*shapes_of(described()["paths"]), *described()["components"]["schemas"].values()]
    assert len(shapes) > 300
    for shape in shapes:
        # The meta-schema of the JSON Schema draft that OpenAPI 3.1 names.
        jsonschema_rs.meta.validate(
            {"$schema": "https://json-schema.org/draft/2020-12/schema", **shape}
        )


@pytest.mark.parametrize(("address", "method", "call"), OPERATIONS)
def test_a_call_says_what_it_does_and_what_may_come_of_it(
    address: str, method: str, call: dict[str, Any]
) -> None:
    assert call["summary"].endswith(".")
    assert {"400", "429", "503", "default"} <= call["responses"].keys()
    assert all(
        parameter.get("description") or parameter["in"] == "path"
        for parameter in call.get("parameters", ())
    )
    assert ("404" in call["responses"]) or "{" not in address
    if method == "get":
        assert "304" in call["responses"]
    elif address != "/api/v1/decode/":
        assert call["security"] == [{"token": []}]
        assert {"401", "403", "422"} <= call["responses"].keys()


def test_operations_have_names_of_their_own() -> None:
    names = [call["operationId"] for _, _, call in OPERATIONS]
    assert len(set(names)) == len(names)


@pytest.mark.django_db
def test_the_site_serves_it_to_everybody() -> None:
    answer = Client().get("/api/v1/schema/")
    assert answer.json() == description()
    assert "public" in answer["Cache-Control"]
