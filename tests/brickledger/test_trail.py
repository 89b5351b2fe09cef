"""The trail: whatever is changed over a page is in it, and nothing else is."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django.fixtures import Settings

from brickledger.models import ApiToken
from catalog.models import Device, Write
from measurements.models import Instrument
from tests.factories.catalog import make_adapter
from tests.factories.measurements import no_load_log, ready

TRAIL = "/trail/"
INSTRUMENT = {"name": "Meter", "quantity": "input_power", "reading_percent": "1", "fixed": "0"}

# What counts is what was committed, so these tests commit.
committing = pytest.mark.django_db(transaction=True, serialized_rollback=True)


def token_form() -> dict[str, str]:
    return {"name": "logger", "role": "reader", "days": "", "form_id": str(uuid.uuid4())}


@committing
def test_a_change_is_recorded_with_who_where_and_what(client: Client, editor: User) -> None:
    client.force_login(editor)
    before = timezone.now()

    client.post(reverse("instrument-add"), INSTRUMENT, REMOTE_ADDR="192.0.2.7")

    (write,) = Write.objects.all()
    assert before <= write.at <= timezone.now()
    assert (write.door, write.user, write.token) == ("page", editor, "")
    assert (write.method, write.path, write.status) == ("POST", "/instruments/new/", 302)
    assert write.subject == "/instruments/"
    assert write.address == "192.0.2.7"
    assert (write.key, write.fingerprint, write.answer) == ("", "", None)


@committing
def test_a_change_that_is_answered_with_a_page_or_with_data_is_recorded_too(
    client: Client, editor: User
) -> None:
    client.force_login(editor)
    client.post("/account/tokens/", token_form())
    log = SimpleUploadedFile("log.csv", no_load_log())
    answer = client.post(reverse("run-new"), {"file": log}, headers={"Accept": "application/json"})

    told = list(Write.objects.order_by("pk").values_list("path", "status", "subject"))
    assert answer.status_code == 201
    assert told == [
        ("/account/tokens/", 200, "/account/tokens/"),
        ("/runs/new/", 201, "/runs/new/"),
    ]


@committing
def test_the_subject_is_the_page_of_what_was_changed(client: Client, editor: User) -> None:
    run = ready(make_adapter(), by=editor)
    client.force_login(editor)

    client.post(reverse("run-accept", args=[run.pk]))

    assert Write.objects.get().subject == run.get_absolute_url()


@committing
def test_what_was_refused_is_not_recorded_whatever_the_answer(
    client: Client, editor: User, reviewer: User
) -> None:
    run = ready(make_adapter(), by=editor)
    client.force_login(editor)
    client.post(reverse("run-accept", args=[run.pk]))
    Write.objects.all().delete()

    refused = client.post(reverse("run-accept", args=[run.pk]))
    wrong = client.post(reverse("instrument-add"), {"name": ""})
    tried = client.post(reverse("file-names"), {"pattern": "{adapter}_*", "do": "try"})
    nowhere = client.post("/nowhere/")
    client.force_login(reviewer)
    forbidden = client.post(reverse("comparison-new"))

    assert [answer.status_code for answer in (refused, wrong, tried, nowhere, forbidden)] == [
        *(302, 400, 200, 404, 403)
    ]
    assert not Write.objects.exists()


@committing
def test_coming_and_going_is_no_change(client: Client) -> None:
    User.objects.create_user("mira", password="a-long-secret", is_staff=True)
    said = {"username": "mira", "password": "a-long-secret"}

    assert client.post(reverse("sign-in"), said).status_code == 302
    assert client.post(reverse("sign-out")).status_code == 302
    assert client.post(reverse("admin:login"), {**said, "next": "/admin/"}).status_code == 302
    assert client.post(reverse("admin:login"), {**said, "next": "/admin/"}).status_code == 302
    assert not Write.objects.exists()


@committing
def test_changes_in_the_admin_pages_are_recorded(admin_client: Client, reviewer: User) -> None:
    ApiToken.issue(name="logger", user=reviewer)
    row = ApiToken.objects.get()

    admin_client.post(
        reverse("admin:brickledger_apitoken_changelist"),
        {"action": "revoke", "_selected_action": [row.pk]},
    )

    assert Write.objects.get().path == "/admin/brickledger/apitoken/"


@committing
def test_no_word_of_a_form_is_in_the_trail(client: Client, editor: User) -> None:
    client.force_login(editor)

    client.post(
        f"{reverse('instrument-add')}?note=secret-word", {**INSTRUMENT, "name": "secret-word"}
    )

    row = Write.objects.filter(path="/instruments/new/").values().get()
    assert "secret-word" not in str(row)


@committing
def test_a_change_stays_when_the_trail_cannot_be_written(
    client: Client, editor: User, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def refuse(**_: object) -> None:
        raise DatabaseError("disk is full")

    client.force_login(editor)
    monkeypatch.setattr(Write.objects, "create", refuse)

    assert client.post(reverse("instrument-add"), INSTRUMENT).status_code == 302
    assert Instrument.objects.count() == 1
    assert "is not in the trail" in caplog.text


@committing
def test_a_name_of_any_length_fits(client: Client, editor: User, settings: Settings) -> None:
    client.force_login(editor)
    slug = "d" * 50
    Device.objects.create(slug=slug, name="Long", kind="laptop")

    client.post(reverse("device-edit", args=[slug]), {"name": "Long", "kind": "phone"})

    assert all(len(write.path) <= 300 for write in Write.objects.all())


# The page


@pytest.fixture
def three(db: None, editor: User, reviewer: User) -> list[Write]:
    """Writes of two people over both doors on three days."""
    day = datetime(2026, 4, 4, 23, 59, 59, tzinfo=UTC)
    said = {"method": "POST", "status": 201, "address": "192.0.2.7"}
    return [
        Write.objects.create(
            at=day, door="page", user=editor, path="/runs/new/", subject="/runs/a/", **said
        ),
        Write.objects.create(
            at=day + timedelta(seconds=1),
            door="api",
            user=reviewer,
            token="logger (abcdefgh…)",
            path="/api/v1/runs/",
            **said,
        ),
        Write.objects.create(
            at=day + timedelta(days=1), door="page", user=reviewer, path="/devices/new/", **said
        ),
    ]


def paths_in(page: str) -> list[str]:
    """The paths of the listed writes, in the page's order."""
    return re.findall(r'<td class="where">POST (\S+) ', page)


@pytest.mark.parametrize(
    ("role", "status"), [("", 302), ("reader", 403), ("reviewer", 403), ("editor", 200)]
)
@pytest.mark.django_db
def test_the_trail_is_for_editors(
    client: Client, person: Callable[[str], User], role: str, status: int
) -> None:
    if role:
        client.force_login(person(role))
    assert client.get(TRAIL).status_code == status


def test_the_newest_write_comes_first_with_all_that_is_known(
    client: Client, editor: User, three: list[Write]
) -> None:
    client.force_login(editor)
    page = client.get(TRAIL).text

    assert paths_in(page) == ["/devices/new/", "/api/v1/runs/", "/runs/new/"]
    for words in ("2026-04-04 23:59:59", "logger (abcdefgh…)", "192.0.2.7", editor.username):
        assert words in page
    assert '<a href="/runs/a/">/runs/a/</a>' in page


@pytest.mark.parametrize(
    ("query", "listed"),
    [
        ({"who": "reviewer-1"}, ["/devices/new/", "/api/v1/runs/"]),
        ({"door": "api"}, ["/api/v1/runs/"]),
        ({"path": "RUNS"}, ["/api/v1/runs/", "/runs/new/"]),
        ({"path": "100%_"}, []),
        ({"day": "2026-04-04"}, ["/runs/new/"]),
        ({"day": "2026-04-05"}, ["/devices/new/", "/api/v1/runs/"]),
        ({"day": "9999-12-31"}, []),
        ({"who": "", "door": "page", "path": "new", "day": ""}, ["/devices/new/", "/runs/new/"]),
    ],
)
def test_filters_narrow_the_trail(
    client: Client, editor: User, three: list[Write], query: dict[str, str], listed: list[str]
) -> None:
    client.force_login(editor)
    answer = client.get(TRAIL, query)

    assert answer.status_code == 200
    assert paths_in(answer.text) == listed


@pytest.mark.parametrize(
    "query",
    [
        "wo=mira",
        "who=nobody-of-this-name",
        "door=window",
        "day=4.4.2026",
        "before=0",
        "before=x",
        f"before={10**30}",
        "path=%00",
        "page=2",
    ],
)
def test_a_filter_that_is_not_understood_lists_nothing(
    client: Client, editor: User, three: list[Write], query: str
) -> None:
    client.force_login(editor)
    answer = client.get(f"{TRAIL}?{query}")

    assert answer.status_code == 400
    assert "Nothing is listed" in answer.text
    assert paths_in(answer.text) == []


def test_pages_follow_each_other_and_stay_whole_while_rows_are_added(
    client: Client, editor: User, db: None
) -> None:
    def add(start: int, stop: int) -> None:
        Write.objects.bulk_create(
            Write(door="page", user=editor, method="POST", path=f"/n/{number}/", status=302)
            for number in range(start, stop)
        )

    add(0, 250)
    client.force_login(editor)
    page = client.get(TRAIL, {"door": "page"}).text
    found = paths_in(page)
    add(250, 300)
    while following := re.search(r'href="(\?[^"]+)" rel="next"', page):
        page = client.get(TRAIL + following[1].replace("&amp;", "&")).text
        found += paths_in(page)

    assert found == [f"/n/{number}/" for number in reversed(range(250))]
    assert "← Newest" in page


def test_a_subject_that_is_no_path_of_this_site_is_no_link(
    client: Client, editor: User, db: None
) -> None:
    Write.objects.create(
        door="api",
        user=editor,
        method="POST",
        path="/x/",
        status=201,
        subject="javascript:alert(1)",
    )
    client.force_login(editor)

    assert 'href="javascript' not in client.get(TRAIL).text
