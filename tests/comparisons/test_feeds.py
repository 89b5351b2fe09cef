"""The feed of accepted runs against RFC 4287 (Atom)."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any
from xml.etree import ElementTree

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from comparisons import feeds
from measurements.actions import RunFacts, amend_run, withdraw_run
from measurements.models import Ledger, Run
from tests.comparisons.populations import stand
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, efficiency_log, make_meter, no_load_log, ready

pytestmark = pytest.mark.django_db

FEED = "/runs/accepted.atom"
ATOM = "{http://www.w3.org/2005/Atom}"


def read(client: Client | None = None) -> ElementTree.Element:
    """The feed's root element."""
    answer: Any = (client or Client()).get(FEED)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/atom+xml; charset=utf-8"
    return ElementTree.fromstring(answer.content)


def entries(client: Client | None = None) -> list[ElementTree.Element]:
    return read(client).findall(f"{ATOM}entry")


def said(element: ElementTree.Element, name: str) -> str:
    """Text of the one child of that name."""
    (found,) = element.findall(f"{ATOM}{name}")
    assert found.text
    return found.text


def moment(element: ElementTree.Element, name: str) -> datetime:
    """A date construct (RFC 4287, 3.3): RFC 3339 with a zone."""
    found = datetime.fromisoformat(said(element, name))
    assert found.tzinfo is not None
    return found


def test_a_feed_has_what_rfc_4287_requires(editor: User) -> None:
    accepted(make_adapter(), by=editor)
    accepted(make_adapter("Solo 45"), by=editor)
    feed = read()
    # 4.1.1: exactly one id, title and updated; an author unless every entry has one; a link
    # to itself.
    assert feed.tag == f"{ATOM}feed"
    assert said(feed, "id").startswith("http://")
    assert said(feed, "title") == "Accepted runs"
    (author,) = feed.findall(f"{ATOM}author")
    assert said(author, "name") == "Brickledger"  # 3.2.1
    links = {link.get("rel"): link.get("href") for link in feed.findall(f"{ATOM}link")}
    assert links["self"] == f"http://testserver{FEED}"
    assert links["alternate"] == "http://testserver/runs/"
    found = feed.findall(f"{ATOM}entry")
    assert len(found) == 2
    # 4.2.15: updated is the last change that matters.
    assert moment(feed, "updated") == max(moment(entry, "updated") for entry in found)
    ids = set()
    for entry in found:
        # 4.1.2: exactly one id, title and updated; a link to the whole where there is no content.
        ids.add(said(entry, "id"))
        assert said(entry, "title")
        assert moment(entry, "updated") >= moment(entry, "published")
        (link,) = entry.findall(f"{ATOM}link")
        assert link.get("rel") == "alternate"
        assert str(link.get("href")).startswith("http://testserver/runs/")
        assert len(entry.findall(f"{ATOM}summary")) == 1
    assert len(ids) == 2


def test_an_entry_tells_what_was_measured(editor: User) -> None:
    adapter = make_adapter()
    run = accepted(adapter, no_load_log(0.05), by=editor, instruments=(make_meter(),))
    (entry,) = entries()
    assert said(entry, "id") == f"urn:uuid:{run.pk}"
    assert uuid.UUID(said(entry, "id")) == run.pk
    title = run.declared_kind.title.lower()
    assert said(entry, "title") == f"Northfold Solo 65: {title} measured"
    assert moment(entry, "updated") == run.accepted_at
    assert entry.findall(f"{ATOM}link")[0].get("href") == f"http://testserver/runs/{run.pk}/"
    summary = said(entry, "summary")
    assert "Standby power 0.0500 ± 0.000" in summary
    assert " W (230 V mains)" in summary
    assert summary.endswith("U at k = 2.")


def test_headline_values_come_first(editor: User) -> None:
    accepted(make_adapter(), efficiency_log(5.0, 20.0), kind="efficiency", by=editor)
    (entry,) = entries()
    parts = said(entry, "summary").split("; ")
    assert len(parts) == feeds.VALUES_TOLD
    assert parts[0].startswith("Average efficiency")
    assert "20 V output" in parts[0]


def test_the_newest_come_first_and_no_more_than_fifty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(feeds, "ENTRIES", 3)
    adapter = make_adapter()
    base = datetime(2026, 11, 1, tzinfo=UTC)
    for day in (2, 5, 1, 4, 3):
        stand(
            adapter,
            0.1,
            since=base + timedelta(days=day),
            apart=f"Soak {day}.",
            metric=METRICS[day],
        )
    days = [moment(entry, "updated").day for entry in entries()]
    assert days == [6, 5, 4]


METRICS = (
    "",
    "no-load-power",
    "no-load-energy",
    "surface-temperature",
    "thermal-headroom",
    "temperature-rise",
)


def test_only_what_the_public_may_see_is_told_to_anybody(editor: User) -> None:
    late = timezone.now().date() + timedelta(days=9)
    accepted(make_adapter("Duo 100", publish_on=late), by=editor)
    ready(make_adapter("Solo 45"))
    client = Client()
    client.force_login(editor)
    assert entries() == entries(client) == []


def test_a_withdrawn_run_is_told_as_withdrawn(editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    (before,) = entries()
    run = withdraw_run(run, by=editor, reason="The lead was <wrong> & long.")
    (entry,) = entries()
    assert said(entry, "id") == said(before, "id")
    assert said(entry, "title") == f"Withdrawn: {said(before, 'title')}"
    assert said(entry, "summary") == "This run was withdrawn: The lead was <wrong> & long."
    assert moment(entry, "updated") == run.withdrawn_at
    assert moment(entry, "published") == moment(before, "published")


def test_a_run_that_was_replaced_says_so(editor: User) -> None:
    adapter = make_adapter()
    accepted(adapter, no_load_log(0.05), by=editor)
    accepted(adapter, no_load_log(0.06), by=editor)
    newer, older = entries()
    assert "Standby power 0.0600" in said(newer, "summary")
    assert said(older, "summary") == "The values of this run were replaced by those of a later one."


def test_a_feed_takes_as_many_queries_for_many_runs(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    for number in range(6):
        stand(make_adapter(f"Model {number}"), 0.1)
    with django_assert_num_queries(3):  # the stamp, runs, values
        assert len(entries()) == 6


def test_a_run_that_waits_after_an_amendment_is_not_told_of(editor: User) -> None:
    adapter = make_adapter()
    run = accepted(adapter, by=editor)
    facts = RunFacts(adapter=adapter, kind="no-load", mains_v=115.0)
    amend_run(run, facts, by=editor, reason="It was 115 V.", seen=0)
    assert entries() == []


def test_a_value_without_an_uncertainty_says_none() -> None:
    value = stand(make_adapter(), 0.25)
    value.uncertainty_known = False
    assert "±" not in feeds.in_words(value)


def test_a_reader_who_has_the_feed_is_not_sent_it_again(
    editor: User, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    accepted(make_adapter(), by=editor)
    client = Client()
    first: Any = client.get(FEED)
    assert "Last-Modified" not in first
    with django_assert_num_queries(1):
        again: Any = client.get(FEED, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    Ledger.turn()
    assert client.get(FEED, headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_a_tag_lasts_no_longer_than_the_day(monkeypatch: pytest.MonkeyPatch, editor: User) -> None:
    tomorrow = timezone.now() + timedelta(days=1)
    accepted(make_adapter(publish_on=tomorrow.date()), by=editor)
    client = Client()
    first: Any = client.get(FEED)
    assert entries(client) == []
    monkeypatch.setattr(timezone, "now", lambda: tomorrow)
    assert client.get(FEED, headers={"If-None-Match": first["ETag"]}).status_code == 200
    assert len(entries(client)) == 1


def test_an_empty_feed_is_a_feed() -> None:
    feed = read()
    assert moment(feed, "updated")
    assert Run.objects.count() == 0
    assert feed.findall(f"{ATOM}entry") == []
