"""Pages that are kept for readers: the same bytes, and never of an earlier state."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from pytest_django.fixtures import Settings

from brickledger import page_memory
from brickledger.models import ApiToken, SiteNotice
from brickledger.page_memory import PageMemoryMiddleware
from catalog.models import Adapter, Write
from measurements.actions import accept_run, withdraw_run
from measurements.models import Ledger
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log, ready

pytestmark = pytest.mark.django_db

RANKING = "/rankings/no-load-power/"


@pytest.fixture(autouse=True)
def kept_pages(no_kept_pages: None, settings: Settings) -> Iterator[None]:
    """Keep pages as a site does."""
    page_memory.remembered.clear()
    settings.PAGE_SECONDS = 60
    yield
    page_memory.remembered.clear()


@pytest.fixture
def reader() -> Client:
    """Somebody without an account."""
    return Client()


def text(answer: Any) -> str:
    """The page as text."""
    assert answer.status_code == 200
    return str(answer.content.decode())


def test_a_page_is_made_once(
    reader: Client, editor: User, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    accepted(make_adapter(), no_load_log(0.05), by=editor)
    for path in ("/", RANKING, "/adapters/northfold-solo-65/", "/methods/", "/runs/"):
        first = reader.get(path)
        with django_assert_num_queries(2):
            again = Client().get(path)
        assert again.content == first.content
        assert dict(again.items()) == dict(first.items())


def test_an_accepted_run_and_a_withdrawn_one_show_at_once(reader: Client, editor: User) -> None:
    run = ready(make_adapter(), no_load_log(0.05))
    assert "Solo 65" not in text(reader.get(RANKING))
    accept_run(run, by=editor)
    assert "Solo 65" in text(reader.get(RANKING))
    withdraw_run(run, by=editor, reason="The lead was loose.")
    assert "Solo 65" not in text(reader.get(RANKING))


def test_a_change_over_the_api_shows_at_once(reader: Client, reviewer: User) -> None:
    adapter = make_adapter()
    page = f"/adapters/{adapter.slug}/"
    assert "Solo 66" not in text(reader.get(page))
    bearer = {"Authorization": f"Bearer {ApiToken.issue(name='desk', user=reviewer)}"}
    address = f"/api/v1{page}"
    changed = Client().patch(
        address,
        {"name": "Solo 66"},
        content_type="application/json",
        headers={**bearer, "If-Match": Client().get(address).headers["ETag"]},
    )
    assert changed.status_code == 200
    assert "Solo 66" in text(reader.get(page))


@pytest.mark.django_db(transaction=True, serialized_rollback=True)  # the trail notes commits
def test_a_change_over_a_page_shows_at_once(reader: Client) -> None:
    assert "Closed in August." not in text(reader.get("/cautions/"))
    desk = Client()
    desk.force_login(User.objects.create_superuser("warden"))
    made = desk.post("/admin/brickledger/sitenotice/add/", {"text": "Closed in August."})
    assert made.status_code == 302
    assert SiteNotice.objects.count() == 1
    assert "Closed in August." in text(reader.get("/cautions/"))


def test_the_end_of_an_embargo_shows_on_its_day(
    reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    tomorrow = timezone.now() + timedelta(days=1)
    make_adapter(publish_on=tomorrow.date())
    assert "Solo 65" not in text(reader.get("/adapters/"))
    monkeypatch.setattr(timezone, "now", lambda: tomorrow)
    assert "Solo 65" in text(reader.get("/adapters/"))


def test_who_is_signed_in_gets_and_leaves_no_kept_page(
    reader: Client, person: Callable[[str], User]
) -> None:
    somebody = person("reviewer")
    desk = Client()
    desk.force_login(somebody)
    assert somebody.username in text(desk.get("/"))
    assert somebody.username not in text(reader.get("/"))
    assert somebody.username in text(desk.get("/"))


@pytest.mark.parametrize(
    ("path", "status"), [("/sign-in/", 200), ("/nowhere/", 404), ("/api/v1/metrics/", 200)]
)
def test_what_is_no_page_for_everybody_is_made_each_time(
    reader: Client, path: str, status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[object] = []
    monkeypatch.setattr(page_memory.remembered, "put", lambda *args, **_: kept.append(args))
    assert reader.get(path).status_code == status
    assert kept == []


def test_each_query_host_and_coding_has_its_own(reader: Client, settings: Settings) -> None:
    settings.ALLOWED_HOSTS = ["bench.example", "testserver"]
    plain = reader.get("/adapters/")
    assert reader.get("/adapters/?power_min=60").content != plain.content
    packed = reader.get("/adapters/", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert reader.get("/adapters/").content == plain.content
    assert "bench.example" not in text(reader.get(RANKING))
    make = reader.get("/adapters/", headers={"Host": "bench.example"})
    assert make.status_code == 200
    assert reader.get("/adapters/", headers={"Host": "elsewhere.example"}).status_code == 400


def test_a_query_that_was_not_encoded_is_not_taken_for_another(reader: Client) -> None:
    # An é sent bare is two bytes, which read one by one are another text, properly encoded.
    bare = text(reader.get("/search/", QUERY_STRING="q=\u00c3\u00a9"))
    encoded = text(reader.get("/search/?q=%C3%83%C2%A9"))
    assert 'value="\u00e9"' in bare
    assert 'value="\u00c3\u00a9"' in encoded


def test_of_two_writes_at_once_the_one_that_is_kept_last_counts(reader: Client) -> None:
    def write(number: int) -> None:
        Write.objects.create(pk=number, door=Write.Door.API, method="POST", path="/", status=200)

    write(7)
    before = page_memory.stamp()
    write(6)  # had its number first and was committed last
    assert page_memory.stamp() != before


def test_what_is_asked_for_counts_as_memory_too(
    reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    sizes: list[int] = []
    monkeypatch.setattr(page_memory.remembered, "put", lambda *_, size, **__: sizes.append(size))
    page = reader.get("/methods/?" + 500 * "x")
    assert sizes == [len(page.content) + len("/methods/?") + 500]


def test_whoever_has_the_page_is_told_so(reader: Client) -> None:
    tag = reader.get("/methods/").headers["ETag"]
    for client in (reader, Client()):
        again = client.get("/methods/", headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")


def test_a_page_is_made_anew_after_a_while(reader: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    make_adapter()
    reader.get("/adapters/")
    Adapter.objects.update(name="Solo 66")  # behind the back of whatever tells of changes
    assert "Solo 66" not in text(reader.get("/adapters/"))
    later = time.monotonic() + 61
    monkeypatch.setattr("brickledger.page_memory.time.monotonic", lambda: later)
    assert "Solo 66" in text(reader.get("/adapters/"))


def test_a_change_while_a_page_is_made_is_not_missed() -> None:
    made: list[str] = []

    def make(_: HttpRequest) -> HttpResponse:
        made.append("page")
        if len(made) == 1:
            Ledger.turn()  # committed after this page read what it shows
        return HttpResponse(f"page {len(made)}", headers={"ETag": f'"{len(made)}"'})

    site = PageMemoryMiddleware(make)
    answers = [site(RequestFactory().get("/")).content for _ in range(3)]
    assert answers == [b"page 1", b"page 2", b"page 2"]
