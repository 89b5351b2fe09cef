"""Attachments on pages: the forms, the section, and how the files are served."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from catalog.models import Adapter
from measurements import attaching, queries
from measurements.attaching import attach, take_off
from measurements.models import Attachment, Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, ready
from tests.factories.pictures import PDF, picture

pytestmark = pytest.mark.django_db


def added(to: Run | Adapter, *, by: User, title: str = "Body", content: bytes = b"") -> Attachment:
    return attach(
        content or picture(), to=to, kind="photograph", title=title, file_name="IMG_1.png", by=by
    ).attachment


def send(client: Client, address: str, content: bytes, **said: str) -> Any:
    file = SimpleUploadedFile("IMG_1.png", content, content_type="image/png")
    return client.post(address, {"kind": "photograph", "title": "Body", "file": file, **said})


def whole(answer: Any) -> bytes:
    return b"".join(answer)


def test_a_picture_is_served_so_that_nothing_in_it_runs(client: Client, editor: User) -> None:
    there = added(make_adapter(), by=editor, title="Label,\r\nunder “side”")

    answer = client.get(reverse("attachment", args=[there.pk]))

    assert whole(answer) == queries.raw_store().path(there.shown_id).read_bytes()
    assert answer.headers["Content-Type"] == "image/png"
    assert answer.headers["Content-Disposition"] == 'inline; filename="label-under-side.png"'
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert answer.headers["Cache-Control"] == "public, no-cache"
    again = client.get(
        reverse("attachment", args=[there.pk]), headers={"If-None-Match": answer.headers["ETag"]}
    )
    assert again.status_code == 304


def test_a_document_is_only_saved(client: Client, editor: User) -> None:
    there = added(make_adapter(), by=editor, title="Certificate 12/2026", content=PDF)
    answer = client.get(reverse("attachment", args=[there.pk]))
    assert whole(answer) == PDF
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="certificate-122026.pdf"'


def test_originals_are_for_those_who_work_here(
    client: Client, editor: User, person: Callable[[str], User]
) -> None:
    content = picture("JPEG", comment=b"at home")
    there = added(make_adapter(), by=editor, content=content)
    address = reverse("attachment-original", args=[there.pk])

    assert client.get(address).status_code == 302
    client.force_login(person("reader"))
    assert client.get(address).status_code == 403
    client.force_login(person("reviewer"))
    answer = client.get(address)
    assert whole(answer) == content
    assert answer.headers["Content-Type"] == "application/octet-stream"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="IMG_1.png"'
    assert answer.headers["Cache-Control"] == "private, no-store"


def test_under_embargo_there_is_nothing_for_readers(
    client: Client, editor: User, person: Callable[[str], User]
) -> None:
    adapter = make_adapter(publish_on=timezone.now().date() + timedelta(days=1))
    address = reverse("attachment", args=[added(adapter, by=editor).pk])
    assert client.get(address).status_code == 404
    client.force_login(person("reader"))
    assert client.get(address).status_code == 404
    client.force_login(editor)
    answer = client.get(address)
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert whole(answer)


def test_what_is_taken_off_is_served_to_nobody_but_as_the_original(
    client: Client, editor: User
) -> None:
    there = added(make_adapter(), by=editor)
    take_off(there, reason="Shows a name.", by=editor)
    client.force_login(editor)
    assert client.get(reverse("attachment", args=[there.pk])).status_code == 404
    assert whole(client.get(reverse("attachment-original", args=[there.pk]))) == picture()


def test_a_missing_file_is_said_to_be(client: Client, editor: User) -> None:
    there = added(make_adapter(), by=editor)
    queries.raw_store().path(there.shown_id).unlink()
    answer = client.get(reverse("attachment", args=[there.pk]))
    assert answer.status_code == 503
    assert "verify_store" in answer.text


def test_from_the_form_to_the_page_of_an_adapter(client: Client, reviewer: User) -> None:
    adapter = make_adapter()
    client.force_login(reviewer)
    form = reverse("attachment-add-adapter", args=[adapter.slug])
    assert form in client.get(adapter.get_absolute_url()).text

    answer = send(client, form, picture("PNG"), title="  Label <b>\n underside ")

    assert answer.headers["Location"] == f"{adapter.get_absolute_url()}#attachments"
    client.logout()
    page = client.get(adapter.get_absolute_url()).text
    address = Attachment.objects.get().get_absolute_url()
    picture_of_it = f'<img src="{address}" alt="Label &lt;b&gt; underside" width="64" height="48"'
    assert f'{picture_of_it} loading="lazy"' in page
    assert "Attach a picture" not in page
    assert "Original" not in page


def test_from_the_form_to_the_page_of_a_run_and_off_again(client: Client, reviewer: User) -> None:
    run = ready(make_adapter(), by=reviewer)
    client.force_login(reviewer)
    send(client, reverse("attachment-add-run", args=[run.pk]), PDF, title="Ripple <at> 20 V")
    page = client.get(run.get_absolute_url()).text
    assert "Ripple &lt;at&gt; 20 V" in page

    address = reverse("attachment-remove", args=[Attachment.objects.get().pk])
    assert address in page
    assert "Say why it is taken off." in client.post(address, {"reason": ""}).text
    client.post(address, {"reason": "Shows a name."})
    assert Attachment.objects.get().removed_reason == "Shows a name."
    assert "1 taken off" in client.get(run.get_absolute_url()).text


def test_pages_without_attachments_say_nothing_to_readers(client: Client, editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    for page in (run, run.adapter):
        assert "Pictures and documents" not in client.get(page.get_absolute_url()).text


def test_a_section_takes_as_many_queries_however_many_there_are(
    client: Client, editor: User
) -> None:
    run = accepted(make_adapter(), by=editor)
    queries_taken = []
    for content in (picture(), picture("JPEG"), PDF):
        added(run, by=editor, content=content)
        with CaptureQueriesContext(connection) as count:
            client.get(run.get_absolute_url())
        queries_taken.append(len(count))
    assert len(set(queries_taken)) == 1


@pytest.mark.parametrize(
    ("content", "said", "words"),
    [
        (b"<svg onload='alert(1)'></svg>", {}, "none of the types"),
        (b"<!DOCTYPE html><script>alert(1)</script>", {}, "none of the types"),
        (picture()[:60], {}, "damaged or cut off"),
        (b"", {}, "no bytes"),
        (picture(), {"title": " "}, "in a few words"),
        (picture(), {"kind": "painting"}, "Write one of: photograph, scope-picture, certificate."),
        (picture(), {"title": "x" * 201}, "200 characters"),
    ],
    ids=["svg", "html", "cut", "empty", "untitled", "kind", "long"],
)
def test_what_is_wrong_is_said_beside_its_field(
    client: Client, editor: User, content: bytes, said: dict[str, str], words: str
) -> None:
    client.force_login(editor)
    answer = send(client, _form(make_adapter()), content, **said)
    assert answer.status_code == 400
    assert words in answer.text
    assert not Attachment.objects.exists()


def test_one_too_many_is_refused(
    client: Client, editor: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(attaching, "MOST_PRESENT", 1)
    adapter = make_adapter()
    added(adapter, by=editor)
    client.force_login(editor)
    answer = send(client, _form(adapter), PDF)
    assert answer.status_code == 409
    assert "that is the most" in answer.text


def test_the_forms_are_closed_to_those_who_may_not(
    client: Client, editor: User, person: Callable[[str], User]
) -> None:
    run = accepted(make_adapter(), by=editor)
    there = added(run, by=editor)
    addresses = [
        reverse("attachment-add-run", args=[run.pk]),
        reverse("attachment-remove", args=[there.pk]),
    ]
    for address in addresses:
        assert client.get(address).status_code == 302
    client.force_login(person("reviewer"))
    for address in addresses:
        assert client.get(address).status_code == 403
        assert client.post(address, {"reason": "Because."}).status_code == 403
    assert Attachment.objects.present().count() == 1
    unseen = ready(make_adapter("Solo 30"), by=editor)
    client.force_login(person("reader"))
    assert client.get(reverse("attachment-add-run", args=[unseen.pk])).status_code == 404


def _form(adapter: Adapter) -> str:
    return reverse("attachment-add-adapter", args=[adapter.slug])
