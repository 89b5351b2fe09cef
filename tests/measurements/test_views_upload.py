"""Handing in a run on the page: every way in which it can go wrong keeps what was kept."""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from measurements.intake.rawstore import RawStore
from measurements.kinds import all_kinds
from measurements.models import Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import make_meter, no_load_log

pytestmark = pytest.mark.django_db

NEW = reverse("run-new")


def sent(content: bytes | None = None, **changes: Any) -> dict[str, Any]:
    """What a browser sends with a standby log."""
    content = no_load_log() if content is None else content
    return {
        "adapter": "northfold-solo-65",
        "kind": "no-load",
        "mains_v": "230",
        "file": SimpleUploadedFile("log.csv", content, "text/csv"),
        **changes,
    }


@pytest.fixture
def bench(client: Client, reviewer: User) -> Client:
    """A reviewer's client, with an adapter written down."""
    make_adapter()
    client.force_login(reviewer)
    return client


def test_only_who_may_hand_in_runs_sees_the_form(
    client: Client, person: Callable[[str], User]
) -> None:
    make_adapter()
    assert client.get(NEW).headers["Location"] == f"{reverse('sign-in')}?next={NEW}"
    client.force_login(person("reader"))
    assert client.get(NEW).status_code == 403
    assert client.post(NEW, sent()).status_code == 403
    for role in ("reviewer", "editor"):
        client.force_login(person(role))
        assert client.get(NEW).status_code == 200
    assert not Run.objects.exists()


@pytest.mark.parametrize("kind", [kind.slug for kind in all_kinds()])
def test_every_kind_has_a_form_with_its_columns_fields_and_cautions(
    bench: Client, kind: str
) -> None:
    declared = next(item for item in all_kinds() if item.slug == kind)

    page = bench.get(NEW, {"adapter": "northfold-solo-65", "kind": kind})

    assert page.status_code == 200
    for column in declared.columns:
        assert column.name.replace("*", "NAME") in page.text
    for field in declared.fields:
        assert f'name="{field.name}"' in page.text
    assert page.text.count("<li>") >= len(declared.cautions)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"adapter": "nothing", "kind": "no-load"}, "No adapter is called “nothing” here."),
        ({"adapter": "northfold-solo-65", "kind": "weight"}, "“weight” is not a kind of run."),
        ({"adapter": "northfold-solo-65"}, "This field is required."),
    ],
)
def test_an_adapter_or_kind_that_is_not_there_is_said_at_its_field(
    bench: Client, query: dict[str, str], words: str
) -> None:
    page = bench.get(NEW, query)

    assert page.status_code == 400
    assert words in page.text


def test_a_file_is_kept_and_rung_for_and_its_run_is_shown(
    bench: Client,
    reviewer: User,
    bell: list[str],
    django_capture_on_commit_callbacks: Any,
) -> None:
    make_meter()
    with django_capture_on_commit_callbacks(execute=True):
        answer = bench.post(
            NEW, sent(instruments=["Bench meter"], port="C1", ambient_c="23.5", note="Warm.")
        )

    run = Run.objects.get()
    assert answer.status_code == 302
    assert answer.headers["Location"] == run.get_absolute_url()
    assert (run.received_by, run.file_name, run.line) == (reviewer, "log.csv", "high")
    assert [item.name for item in run.instruments.all()] == ["Bench meter"]
    assert run.port is not None
    assert bell == [str(run.pk)]


def test_the_same_file_again_leads_to_the_run_that_is_there(bench: Client) -> None:
    first = bench.post(NEW, sent())
    again = bench.post(NEW, sent(), follow=True)

    assert again.redirect_chain == [(first.headers["Location"], 302)]
    assert "already here" in again.text
    assert Run.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"mains_v": ""}, "Give the mains voltage of this run"),
        ({"mains_v": "150"}, "150 V is outside both mains ranges"),
        ({"port": "C9"}, "has no port “C9”"),
        ({"instruments": ["Nothing"]}, "No instrument is called “Nothing” here."),
        ({"measured_at": "2999-01-01 12:00"}, "lies in the future"),
        ({"ambient_c": "hot"}, "Enter a number."),
        ({"file": ""}, "Choose the file of this run."),
        ({"file": SimpleUploadedFile("log.csv", b"")}, "The file is empty"),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_nothing_is_kept(
    bench: Client, own_raw_store: Path, changes: dict[str, Any], words: str
) -> None:
    answer = bench.post(NEW, sent(**{"note": "Second meter.", **changes}))

    assert answer.status_code == 400
    assert words in answer.text
    assert "Nothing was kept." in answer.text
    assert "Second meter." in answer.text
    assert not Run.objects.exists()
    assert not own_raw_store.exists()


def test_a_file_that_is_too_large_is_a_413_that_names_the_limit(
    bench: Client, settings: Any
) -> None:
    settings.MAX_UPLOAD_BYTES = 1000

    answer = bench.post(NEW, sent(b"x" * 1001))

    assert answer.status_code == 413
    assert "larger than the 1,000 bytes" in answer.text
    assert not Run.objects.exists()


def test_a_full_disk_is_a_507_that_says_nothing_was_kept(
    bench: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: RawStore, chunks: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(RawStore, "keep", full)

    answer = bench.post(NEW, sent())

    assert answer.status_code == 507
    assert "disk is full, so nothing was kept" in answer.text
    assert not Run.objects.exists()


def test_an_embargoed_adapter_can_be_measured_by_who_may_know_of_it(bench: Client) -> None:
    make_adapter("Secret 100", publish_on="2999-01-01")

    assert bench.post(NEW, sent(adapter="northfold-secret-100")).status_code == 302


@pytest.mark.parametrize("data", [{}, {"adapter": "\x00", "kind": "\x00"}])
def test_a_form_that_no_browser_would_send_is_no_error_of_the_site(
    bench: Client, data: dict[str, str]
) -> None:
    assert bench.post(NEW, data).status_code in {200, 400}


def test_a_plan_fills_in_the_conditions(bench: Client) -> None:
    query = "adapter=northfold-solo-65&kind=efficiency&mains_v=115&port=C1&lead_resistance_ohm=0.02"
    form = bench.get(f"{NEW}?{query}").context["form"]
    assert {name: form[name].value() for name in ("mains_v", "port", "lead_resistance_ohm")} == {
        "mains_v": "115",
        "port": "C1",
        "lead_resistance_ohm": "0.02",
    }
