"""The page that amends a run: prefilled, previewed, done."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from measurements.actions import (
    accept_run,
)
from measurements.models import Amendment, Instrument, Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import (
    make_meter,
    ready,
)
from tests.measurements.test_amendments import MOMENT, amend

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(editor: User) -> Client:
    client = Client()
    client.force_login(editor)
    return client


def filled(answer: Any) -> dict[str, Any]:
    """What a browser would send of the page's forms, untouched."""
    said: dict[str, Any] = {}
    for form in (answer.context["form"], answer.context["reason"]):
        for field in form:
            if (value := field.value()) not in (None, ""):
                said[field.html_name] = value
    said.pop("kind", None)
    return said


def test_the_page_shows_what_would_change_before_it_is_done(browser: Client) -> None:
    adapter = make_adapter()
    make_meter()
    run = ready(
        adapter,
        port=adapter.ports.get(),
        ambient_c=23.1,
        measured_at=MOMENT + timedelta(seconds=1.5),
        instruments=tuple(Instrument.objects.all()),
        note="first\nsecond",
    )
    address = f"/runs/{run.pk}/amend/"
    assert f'href="{address}"' in browser.get(f"/runs/{run.pk}/").content.decode()
    first = browser.get(address)
    assert first.status_code == 200
    said = {**filled(first), "note": "first\r\nsecond", "mains_v": "115", "reason": "wrong supply"}
    preview = browser.post(address, said)
    assert preview.status_code == 200
    assert [(item.name, item.before, item.after) for item in preview.context["changes"]] == [
        ("mains_v", "230 V", "115 V")
    ]
    assert not Amendment.objects.exists()
    # Something else than what was shown is shown first.
    mark = preview.context["mark"]
    other = browser.post(address, {**said, "mains_v": "116", "confirmed": mark})
    assert other.context["changes"][0].after == "116 V"
    assert not Amendment.objects.exists()
    done = browser.post(address, {**said, "confirmed": mark})
    assert done.status_code == 302
    assert Amendment.objects.get().after == {"mains_v": 115.0}


def test_the_page_says_what_is_wrong_and_changes_nothing(browser: Client) -> None:
    run = ready(make_adapter())
    address = f"/runs/{run.pk}/amend/"
    said = filled(browser.get(address))
    answer = browser.post(address, {**said, "mains_v": "150"})
    assert answer.status_code == 400
    assert "outside both mains ranges" in answer.content.decode()
    assert "Say why the run is amended" in answer.content.decode()
    answer = browser.post(address, {**said, "reason": "for nothing"})
    assert answer.status_code == 409
    assert "Nothing would change" in answer.content.decode()
    assert browser.post(address, {"reason": "x"}).status_code == 400


def test_the_page_does_not_undo_what_somebody_else_amended_meanwhile(
    browser: Client, editor: User
) -> None:
    run = ready(make_adapter())
    address = f"/runs/{run.pk}/amend/"
    said = {**filled(browser.get(address)), "ambient_c": "25", "reason": "the room"}
    amend(run, by=editor, mains_v=115.0)
    preview = browser.post(address, said)
    answer = browser.post(address, {**said, "confirmed": preview.context["mark"]})
    assert answer.status_code == 409
    assert "amended meanwhile" in answer.content.decode()
    assert Run.objects.get().mains_v == 115.0


def test_the_page_is_for_those_who_may_amend(
    reviewer: User, editor: User, person: Callable[[str], User]
) -> None:
    run = ready(make_adapter(), by=reviewer)
    address = f"/runs/{run.pk}/amend/"
    assert Client().get(address).status_code == 302
    for role, status in (("reader", 404), ("reviewer", 403)):
        client = Client()
        client.force_login(person(role))
        assert client.get(address).status_code == status
        assert client.post(address, {}).status_code == status
    client = Client()
    client.force_login(reviewer)
    assert client.get(address).status_code == 200
    accept_run(run, by=editor)
    assert client.get(address).status_code == 403
    assert "/amend/" not in client.get(f"/runs/{run.pk}/").content.decode()
