"""Clients of the API for tests, and what they read from its answers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from brickledger.models import ApiToken
from tests.factories.measurements import no_load_log

ADAPTER = {
    "maker": "Northfold",
    "name": "Trio 140",
    "rated_power_w": 140,
    "ports": [
        {"label": "C1", "connector": "usb-c", "rated_power_w": 140},
        {"label": "A1", "connector": "usb-a"},
    ],
}
INSTRUMENT = {
    "name": "Bench meter",
    "quantity": "input_power",
    "reading_percent": 0.1,
    "fixed": 0.0005,
}


def client_of(user: User | None) -> APIClient:
    """A client that sends a token of `user`, or none."""
    client = APIClient()
    if user is not None:
        token = ApiToken.issue(name="test", user=user)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def upload(
    client: APIClient,
    *,
    content: bytes | None = None,
    headers: dict[str, str] | None = None,
    **fields: Any,
) -> Any:
    """Hand in a standby record for the adapter ``northfold-solo-65``."""
    said = {
        "adapter": "northfold-solo-65",
        "kind": "no-load",
        "mains_v": "230",
        "file": SimpleUploadedFile("log.csv", no_load_log() if content is None else content),
        **fields,
    }
    wanted = {name: field for name, field in said.items() if field is not None}
    return client.post("/api/v1/runs/", wanted, format="multipart", headers=headers)


def assert_problem(answer: Any, status: int, *, name: str = "") -> dict[str, Any]:
    """Check that an answer is a problem of RFC 9457 and return its content."""
    content = answer.json()
    assert answer.status_code == status, content
    assert answer["Content-Type"] == "application/problem+json"
    assert {"type", "title", "status", "detail", "errors"} <= content.keys()
    assert content["status"] == status
    assert content["type"].startswith("urn:brickledger:problem:")
    assert content["title"]
    assert content["detail"]
    if name:
        assert content["type"].endswith(f":{name}")
    return dict(content)


def faulty_fields(answer: Any) -> set[str]:
    """The fields that a validation problem names."""
    content = assert_problem(answer, 400, name="validation")
    assert all(error["detail"] for error in content["errors"])
    return {error["field"] for error in content["errors"]}


def walk(client: APIClient, address: str) -> Iterator[dict[str, Any]]:
    """Every row of a list, page by page, as a client follows `next`."""
    following: str | None = address
    while following:
        answer = client.get(following)
        assert answer.status_code == 200, answer.content
        content = answer.json()
        yield from content["results"]
        following = content["next"]
