"""The door for files on the page: every way in which it can go wrong keeps what was kept."""

from __future__ import annotations

import errno
import io
import zipfile
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
from measurements.models import Arrival, Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import no_load_log

pytestmark = pytest.mark.django_db

NEW = reverse("run-new")


def log(content: bytes | None = None, name: str = "log.csv") -> SimpleUploadedFile:
    """A file as a browser sends it."""
    return SimpleUploadedFile(name, no_load_log() if content is None else content, "text/csv")


def package() -> SimpleUploadedFile:
    """A zip with one run."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        archive.writestr(
            "runs.csv", "adapter,kind,file,mains_v\nnorthfold-solo-65,no-load,a.csv,230\n"
        )
        archive.writestr("a.csv", no_load_log())
    return SimpleUploadedFile("season.zip", held.getvalue(), "application/zip")


@pytest.fixture
def bench(client: Client, reviewer: User) -> Client:
    """A reviewer's client, with an adapter written down."""
    make_adapter()
    client.force_login(reviewer)
    return client


def test_only_who_may_hand_in_runs_sees_the_page(
    client: Client, person: Callable[[str], User]
) -> None:
    make_adapter()
    assert client.get(NEW).headers["Location"] == f"{reverse('sign-in')}?next={NEW}"
    client.force_login(person("reader"))
    assert client.get(NEW).status_code == 403
    assert client.post(NEW, {"file": log()}).status_code == 403
    for role in ("reviewer", "editor"):
        client.force_login(person(role))
        assert client.get(NEW).status_code == 200
    assert not Arrival.objects.exists()


@pytest.mark.parametrize("kind", [kind.slug for kind in all_kinds()])
def test_every_kind_tells_its_columns_and_cautions(bench: Client, kind: str) -> None:
    declared = next(item for item in all_kinds() if item.slug == kind)

    page = bench.get(NEW, {"adapter": "northfold-solo-65", "kind": kind})

    assert page.status_code == 200
    for column in declared.columns:
        assert column.name.replace("*", "NAME") in page.text
    assert page.text.count("<li>") >= len(declared.cautions)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"adapter": "nothing", "kind": "no-load"}, "No adapter is called “nothing” here."),
        ({"adapter": "northfold-solo-65", "kind": "weight"}, "“weight” is not a kind of run."),
    ],
)
def test_an_adapter_or_kind_that_is_not_there_is_said(
    bench: Client, query: dict[str, str], words: str
) -> None:
    page = bench.get(NEW, query)

    assert page.status_code == 400
    assert words in page.text


def test_one_file_is_kept_and_leads_to_its_page(
    bench: Client, reviewer: User, django_capture_on_commit_callbacks: Any, bell: list[str]
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        answer = bench.post(NEW, {"file": log(), "adapter": "northfold-solo-65"})

    arrival = Arrival.objects.get()
    assert answer.headers["Location"] == arrival.get_absolute_url()
    assert (arrival.by, arrival.said) == (reviewer, {"adapter": "northfold-solo-65"})
    assert bell == [str(arrival.pk)]


def test_several_files_lead_to_the_list_of_those_that_wait(bench: Client) -> None:
    answer = bench.post(NEW, {"file": [log(name="a.csv"), log(b"x,y\n1,2\n", name="b.csv")]})

    assert answer.headers["Location"] == reverse("arrivals")
    assert {item.file_name for item in Arrival.objects.all()} == {"a.csv", "b.csv"}


def test_a_script_is_told_where_to_go(bench: Client) -> None:
    answer = bench.post(NEW, {"file": log()}, headers={"Accept": "application/json"})

    assert answer.status_code == 201
    assert answer.json() == {"location": Arrival.objects.get().get_absolute_url()}


def test_a_package_among_the_files_becomes_its_runs(bench: Client) -> None:
    answer = bench.post(NEW, {"file": [package(), log(name="alone.csv")]})

    assert answer.status_code == 200
    assert "1 run read: 1 received" in answer.text
    assert Run.objects.get().file_name == "a.csv"
    assert Arrival.objects.get().file_name == "alone.csv"


def test_what_a_plan_says_goes_along(bench: Client) -> None:
    query = {"adapter": "northfold-solo-65", "kind": "efficiency", "mains_v": "115", "port": "C1"}
    page = bench.get(NEW, query)
    assert '<input type="hidden" name="mains_v" value="115">' in page.text

    bench.post(NEW, {**query, "file": log()})
    assert Arrival.objects.get().said == query


def test_an_empty_file_among_good_ones_is_named_and_the_others_are_kept(bench: Client) -> None:
    answer = bench.post(NEW, {"file": [log(), log(b"", name="none.csv")]}, follow=True)

    assert "“none.csv” was not kept: It is empty" in answer.text
    assert Arrival.objects.get().file_name == "log.csv"


@pytest.mark.parametrize(
    ("files", "words"),
    [([], "Choose at least one file."), ([b""], "It is empty: it has no bytes.")],
)
def test_without_any_bytes_nothing_is_kept(
    bench: Client, own_raw_store: Path, files: list[bytes], words: str
) -> None:
    answer = bench.post(NEW, {"file": [log(content) for content in files]})

    assert answer.status_code == 400
    assert words in answer.text
    assert not own_raw_store.exists()


def test_more_files_than_are_taken_at_once_are_a_sentence(bench: Client) -> None:
    answer = bench.post(NEW, {"file": [log(name=f"{number}.csv") for number in range(101)]})

    assert answer.status_code == 400
    assert "101 files came; 100 are taken at once." in answer.text
    assert not Arrival.objects.exists()


def test_a_file_that_is_too_large_is_a_413_that_names_the_limit(
    bench: Client, settings: Any
) -> None:
    settings.MAX_UPLOAD_BYTES = 1000

    answer = bench.post(NEW, {"file": log(b"x" * 1001)})

    assert answer.status_code == 413
    assert "larger than the 1,000 bytes" in answer.text
    assert not Arrival.objects.exists()


def test_a_full_disk_is_a_507_that_says_so(bench: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self: RawStore, chunks: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(RawStore, "keep", full)

    answer = bench.post(NEW, {"file": log()})

    assert answer.status_code == 507
    assert "disk is full, so it was not kept" in answer.text
    assert not Arrival.objects.exists()


@pytest.mark.parametrize(
    "data", [{}, {"adapter": "\x00", "kind": "\x00"}, {"note": "\x00" * 9, "file": "text"}]
)
def test_a_form_that_no_browser_would_send_is_no_error_of_the_site(
    bench: Client, data: dict[str, str]
) -> None:
    assert bench.post(NEW, data).status_code == 400
