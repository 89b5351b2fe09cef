"""Files that are sent badly: refused before anything of them is kept, or kept without harm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.test.client import encode_multipart
from django.urls import reverse
from rest_framework.test import APIClient

from measurements import processing
from measurements.models import Run
from tests.factories.api import client_of, upload
from tests.factories.catalog import make_adapter
from tests.measurements.hostile.archives import ADAPTER, GOOD, zipped
from tests.measurements.hostile.doors import assert_whole, dropped, nothing_kept

pytestmark = pytest.mark.django_db

SAID = {"adapter": ADAPTER, "kind": "no-load", "mains_v": "230"}
MANY: dict[str, Any] = {f"f{at}": "x" for at in range(10_000)}
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
BODY = encode_multipart("b", {"file": SimpleUploadedFile("log.csv", GOOD), **SAID})


@dataclass(frozen=True, slots=True)
class Request:
    """A request: item and how it is made, and what is said of it.

    `status` is that of the answer, and `state` what becomes of a run that it makes.
    """

    number: int
    how: str
    send: Callable[[APIClient], Any]
    status: int
    said: str = ""
    state: str = "ready"


def named(name: str, content: bytes = GOOD, media_type: str = "text/csv") -> Any:
    return lambda client: upload(client, file=SimpleUploadedFile(name, content, media_type))


def cut(stated: int, sent: int, media_type: str = "multipart/form-data; boundary=b") -> Any:
    """A body of which fewer bytes come than its header states."""
    return lambda client: client.generic(
        "POST",
        "/api/v1/runs/",
        BODY.decode("latin-1"),
        media_type,
        **{"wsgi.input": BytesIO(BODY[:sent]), "CONTENT_LENGTH": str(stated)},
    )


REQUESTS = (
    Request(
        54,
        "measured tomorrow",
        lambda client: upload(client, measured_at="2199-01-01T00:00:00Z"),
        400,
        "lies in the future",
    ),
    Request(64, "more stated than sent", cut(len(BODY), len(BODY) - 40), 400, "Send it again"),
    Request(64, "beyond the limit", cut(10**12, 100), 413, "Split the log"),
    Request(64, "negative", cut(-1, len(BODY)), 400, "send it again"),
    Request(65, "an image by its type", named("log.csv", media_type="image/png"), 202),
    Request(65, "no form at all", cut(len(BODY), len(BODY), "text/csv"), 415, "text/csv"),
    Request(
        65,
        "a zip behind a log",
        named("log.csv", GOOD + zipped({"a.csv": GOOD})),
        202,
        "zero bytes",
        "rejected",
    ),
    Request(
        65,
        "a PDF that is a zip too",
        named("log.csv", b"%PDF-1.7\n" + zipped({"a.npy": b"x"})),
        202,
        "a PDF document",
        "rejected",
    ),
    Request(66, "4 KB", named("x" * 4000 + ".csv"), 202),
    Request(66, "line ends and quotation marks", named('a"b\r\nX-Evil: 1.csv'), 202),
    Request(
        67,
        "fields",
        lambda client: upload(client, **MANY),
        400,
        ".",
    ),
    Request(80, "as a log", named("log.svg", SVG, "image/svg+xml"), 202, "heading", "rejected"),
)


@pytest.mark.parametrize("case", REQUESTS, ids=lambda case: f"{case.number}-{case.how}")
def test_a_request_is_answered(case: Request, reviewer: User) -> None:
    make_adapter()
    client = client_of(reviewer)
    if case.status != 202:
        with nothing_kept():
            answer = case.send(client)
        assert answer.status_code == case.status, answer.text
        assert answer["Content-Type"] == "application/problem+json"
        assert case.said in answer.text
        return
    answer = case.send(client)
    assert answer.status_code == 202, answer.text
    run = Run.objects.get()
    assert processing.compute(run.pk) == case.state
    run.refresh_from_db()
    assert case.said in f"{run.problems}"
    raw = client.get(f"{answer['Location']}raw/")
    assert raw["Content-Type"] == "application/octet-stream"
    assert raw["X-Content-Type-Options"] == "nosniff"
    assert raw["Content-Disposition"].startswith("attachment;")
    assert "sandbox" in raw["Content-Security-Policy"]
    assert not {"\r", "\n"} & set(raw["Content-Disposition"])
    b"".join(raw)
    assert_whole()


@pytest.mark.parametrize("page", ["run-new", "package-new"])
def test_ten_thousand_parts_are_too_many_for_a_page(
    page: str, client: Client, reviewer: User
) -> None:
    client.force_login(reviewer)
    with nothing_kept():
        answer = dropped(client, reverse(page), GOOD, "log.csv", **MANY)
    assert answer.status_code == 400
