"""Whoever sees embargoed adapters is told that counts and places differ from the public's."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted

PAGES = (
    "/",
    "/adapters/",
    "/rankings/",
    "/rankings/no-load-power/",
    "/adapters/northfold-solo-65/",
)


@pytest.mark.django_db
@pytest.mark.parametrize("path", PAGES)
def test_editors_read_how_many_are_under_embargo_and_readers_do_not(
    client: Client, editor: User, path: str
) -> None:
    accepted(make_adapter(), by=editor)
    make_adapter("Duo 70", publish_on=timezone.now().date() + timedelta(days=1))
    assert "under embargo" not in client.get(path).content.decode()
    client.force_login(editor)
    assert "You also see 1 adapter under embargo" in client.get(path).content.decode()


@pytest.mark.django_db
def test_nothing_is_said_when_nothing_is_hidden(client: Client, editor: User) -> None:
    accepted(make_adapter(), by=editor)
    client.force_login(editor)
    assert "under embargo" not in client.get("/").content.decode()


@pytest.mark.django_db
def test_several_are_spoken_of_as_several_and_counted_once(client: Client, editor: User) -> None:
    for name in ("Duo 70", "Trio 90"):
        make_adapter(name, publish_on=timezone.now().date() + timedelta(days=1))
    client.force_login(editor)
    with CaptureQueriesContext(connection) as captured:
        page = client.get("/rankings/").content.decode()
    assert "You also see 2 adapters under embargo. Counts and places here include them;" in page
    counted = [query["sql"] for query in captured if '"publish_on" >' in query["sql"]]
    assert len([sql for sql in counted if sql.startswith("SELECT COUNT")]) == 1
