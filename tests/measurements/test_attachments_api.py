"""Attachments over HTTP: lists, adding, refusals."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image
from rest_framework.test import APIClient

from catalog.models import Adapter
from measurements import attaching
from measurements.intake.pictures import MOST_BYTES
from measurements.models import Attachment, Run
from tests.factories.api import assert_problem, client_of, faulty_fields, walk
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, ready
from tests.factories.pictures import PDF, picture

pytestmark = pytest.mark.django_db


def address(to: Run | Adapter) -> str:
    where = f"runs/{to.pk}" if isinstance(to, Run) else f"adapters/{to.slug}"
    return f"/api/v1/{where}/attachments/"


def send(client: APIClient, to: Run | Adapter, content: bytes | None = None, **said: Any) -> Any:
    wanted = {
        "kind": "scope-picture",
        "title": "Ripple at 20 V",
        "file": SimpleUploadedFile("screen.png", picture() if content is None else content),
        **said,
    }
    body = {name: item for name, item in wanted.items() if item is not None}
    return client.post(address(to), body, format="multipart")


@pytest.mark.parametrize("of_run", [True, False])
def test_a_picture_is_attached_and_listed(editor: User, of_run: bool) -> None:
    adapter = make_adapter()
    to = accepted(adapter, by=editor) if of_run else adapter
    answer = send(client_of(editor), to)
    assert answer.status_code == 201, answer.content
    made = answer.json()
    assert made["remarks"] == []
    assert (made["kind"], made["media_type"]) == ("scope-picture", "image/png")
    assert (made["width"], made["height"]) == (64, 48)

    anyone = client_of(None)
    assert list(walk(anyone, f"{address(to)}?limit=1")) == [
        {name: item for name, item in made.items() if name != "remarks"}
    ]
    file = anyone.get(answer["Location"])
    assert len(b"".join(file)) == made["bytes"]
    assert file["ETag"] == f'"{made["sha256"]}"'

    again = send(client_of(editor), to)
    assert (again.status_code, again.json()["id"]) == (200, made["id"])


def test_pages_of_a_list_follow_each_other(editor: User) -> None:
    adapter = make_adapter()
    for content in (picture(), picture("JPEG"), PDF):
        send(client_of(editor), adapter, content)
    types = [row["media_type"] for row in walk(client_of(None), f"{address(adapter)}?limit=2")]
    assert types == ["image/png", "image/jpeg", "application/pdf"]


def test_who_may_attach(editor: User, reviewer: User, person: Callable[[str], User]) -> None:
    run = accepted(make_adapter(), by=editor)
    assert_problem(send(client_of(None), run), 401)
    for other in (person("reader"), reviewer):
        assert_problem(send(client_of(other), run), 403)
    assert send(client_of(reviewer), run.adapter).status_code == 201


def test_what_readers_may_not_know_of_is_not_there(editor: User) -> None:
    hidden = ready(make_adapter(), by=editor)
    later = timezone.now().date() + timedelta(days=1)
    embargoed = make_adapter("Solo 30", publish_on=later)
    for to in (hidden, embargoed):
        assert send(client_of(editor), to).status_code == 201
        assert_problem(client_of(None).get(address(to)), 404)
    for there in Attachment.objects.all():
        assert client_of(None).get(there.get_absolute_url()).status_code == 404


@pytest.mark.parametrize(
    ("said", "fields"),
    [
        ({"file": None}, {"file"}),
        ({"file": "text"}, {"file"}),
        ({"kind": "painting", "title": ""}, {"kind", "title"}),
        ({"title": "a\0b"}, {"title"}),
        ({"caption": "x"}, {"caption"}),
        ({"title": ["a", "b"]}, {"title"}),
        ({"file": SimpleUploadedFile("a.png", b"")}, {"file"}),
        ({"file": SimpleUploadedFile("a.png", b"<svg/>", content_type="image/png")}, {"file"}),
        ({"other": SimpleUploadedFile("a.png", b"x")}, {"other"}),
        ({"file": [SimpleUploadedFile("a", b"x"), SimpleUploadedFile("b", b"y")]}, {"file"}),
    ],
)
def test_every_fault_names_its_field(editor: User, said: dict[str, Any], fields: set[str]) -> None:
    assert faulty_fields(send(client_of(editor), make_adapter(), **said)) == fields
    assert not Attachment.objects.exists()


def test_what_is_too_large_is_refused_by_its_stated_length(editor: User) -> None:
    answer = send(client_of(editor), make_adapter(), bytes(MOST_BYTES + 2**20 + 1))
    assert_problem(answer, 413, name="too-large")
    answer = send(client_of(editor), make_adapter("Solo 30"), bytes(MOST_BYTES + 1))
    assert faulty_fields(answer) == {"file"}


def test_one_too_many_is_a_conflict(editor: User, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(attaching, "MOST_PRESENT", 0)
    problem = assert_problem(send(client_of(editor), make_adapter()), 409, name="conflict")
    assert problem["errors"][0]["field"] == "file"


def test_the_first_of_several_pictures_is_said_to_be_shown(editor: User) -> None:
    content = picture(save_all=True, append_images=[_other()])
    answer = send(client_of(editor), make_adapter(), content)
    assert answer.json()["remarks"] == ["The file holds 2 pictures; the first one is shown."]


def _other() -> Any:
    return Image.new("RGB", (64, 48), "black")
