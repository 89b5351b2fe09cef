"""Handing in a package on the page: the same door as the command, within what a page can wait."""

from __future__ import annotations

import errno
import io
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest
from django.contrib.auth.models import Permission, User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from pytest_django.fixtures import Settings

from catalog.models import Adapter
from measurements import queries
from measurements.intake.rawstore import RawStore
from measurements.management.stores import WHILE_WAITING
from measurements.models import Run
from measurements.views import packages
from tests.factories.catalog import make_adapter
from tests.factories.measurements import no_load_log
from tests.factories.workbooks import make_workbook, raw_workbook

pytestmark = pytest.mark.django_db

NEW = reverse("package-new")
RUNS = "adapter,kind,file,mains_v\n"
HEADINGS = ["adapter", "kind", "file", "mains_v"]
LOG: list[list[Any]] = [["time_s", "input_power_w"], *([at, 0.05] for at in range(901))]


@pytest.fixture
def bench(client: Client, reviewer: User) -> Client:
    """A reviewer's client, with an adapter written down."""
    make_adapter()
    client.force_login(reviewer)
    return client


def as_zip(files: Mapping[str, str | bytes]) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return file.getvalue()


def row(file: str, *, adapter: str = "northfold-solo-65", mains_v: object = 230) -> list[Any]:
    return [adapter, "no-load", file, mains_v]


def table_of(*rows: list[Any]) -> str:
    return RUNS + "".join(",".join(map(str, cells)) + "\n" for cells in rows)


def hand_in(client: Client, content: bytes, name: str = "package.zip") -> Any:
    return client.post(NEW, {"file": SimpleUploadedFile(name, content)})


def test_only_who_may_hand_in_runs_sees_the_form(
    client: Client, person: Callable[[str], User]
) -> None:
    assert client.get(NEW).headers["Location"] == f"{reverse('sign-in')}?next={NEW}"
    client.force_login(person("reader"))
    assert client.get(NEW).status_code == 403
    assert hand_in(client, as_zip({"runs.csv": RUNS})).status_code == 403
    for role in ("reviewer", "editor"):
        client.force_login(person(role))
        assert client.get(NEW).status_code == 200
        assert client.put(NEW).status_code == 405


def test_a_zip_is_taken_in_and_every_run_linked(bench: Client, reviewer: User) -> None:
    content = as_zip(
        {
            "runs.csv": table_of(row("a.csv"), row("logs/b.csv", mains_v=115)),
            "a.csv": no_load_log(0.05),
            "logs/b.csv": no_load_log(0.06),
        }
    )
    page = hand_in(bench, content)
    assert page.status_code == 200
    assert "2 runs read: 2 received, 0 already here, 0 refused" in page.text
    for run in Run.objects.all():
        assert run.get_absolute_url() in page.text
        assert run.received_by == reviewer
    assert sorted(Run.objects.values_list("file_name", flat=True)) == ["a.csv", "b.csv"]
    again = hand_in(bench, content)
    assert "2 runs read: 0 received, 2 already here, 0 refused" in again.text
    assert Run.objects.count() == 2


def test_what_is_refused_is_named_by_line_and_column_and_the_rest_is_kept(bench: Client) -> None:
    content = as_zip(
        {
            "runs.csv": table_of(
                row("a.csv"), row("a.csv", mains_v=150), row("absent.csv"), row("../b.csv")
            ),
            "a.csv": no_load_log(),
        }
    )
    page = hand_in(bench, content)
    assert "4 runs read: 1 received, 0 already here, 3 refused" in page.text
    refusals = page.context["parcel"].intake.refusals
    assert [(item.line, item.field) for item in refusals] == [
        (3, "mains_v"),
        (4, "file"),
        (5, "file"),
    ]
    assert "150 V is outside both mains ranges" in page.text
    assert "no file “absent.csv”" in page.text


def test_a_workbook_of_ones_own_is_taken_in(bench: Client) -> None:
    content = make_workbook(
        {
            "Runs": [HEADINGS, row("Standby"), [], row("nothing", mains_v=115), row("empty")],
            "Standby": LOG,
            "empty": [["time_s", "input_power_w"]],
        }
    )
    page = hand_in(bench, content, "bench of May.XLSX")
    assert (
        "2 runs read: 1 received, 0 already here, 1 refused; 1 planned one was not filled in"
        in page.text
    )
    run = Run.objects.get()
    assert run.file_name == "bench of May.XLSX – Standby.csv"
    raw = queries.raw_store().path(run.raw_id).read_bytes()
    assert raw.startswith(b"time_s,input_power_w\n0,0.05\n1,0.05\n")
    (refusal,) = page.context["parcel"].intake.refusals
    assert (refusal.table, refusal.line, refusal.field) == ("runs", 4, "file")
    assert "The workbook has no worksheet “nothing”" in refusal.detail


def test_a_worksheet_that_cannot_be_used_refuses_its_own_run_only(bench: Client) -> None:
    data = "<sheetData>" + "".join(
        f"<row><c><v>{second}</v></c><c><v>0.05</v></c></row>" for second in range(901)
    )
    head = "".join(f'<c t="inlineStr"><is><t>{name}</t></is></c>' for name in LOG[0])
    log = f"{data.replace('<sheetData>', f'<sheetData><row>{head}</row>')}</sheetData>"

    def cells(*items: object) -> str:
        return "".join(f'<c t="inlineStr"><is><t>{item}</t></is></c>' for item in items)

    runs = "".join(
        f"<row>{cells(*items)}</row>"
        for items in (HEADINGS, row("good"), row("merged"), row("formula"), row("GOOD"))
    )
    content = raw_workbook(
        sheets={
            "runs": f"<sheetData>{runs}</sheetData>",
            "good": log,
            "merged": f'{log}<mergeCells><mergeCell ref="A1:B2"/></mergeCells>',
            "formula": "<sheetData><row><c><v>1</v></c><c><f>A1</f></c></row></sheetData>",
        }
    )
    page = hand_in(bench, content, "mixed.xlsx")
    assert "4 runs read: 1 received, 1 already here, 2 refused" in page.text
    assert "merged cells at A1:B2" in page.text
    assert "never computed" in page.text


@pytest.mark.parametrize(
    ("sheets", "said"),
    [
        ({"log": LOG[:2]}, "no worksheet “runs”, but “log”"),
        ({"runs": []}, "“runs” is empty"),
        ({"runs": [HEADINGS]}, "no rows"),
        ({"runs": [["adapter", "kind"], ["x", "no-load"]]}, "runs: The column file is missing"),
        ({"runs": [[*HEADINGS, "mians"], [*row("log"), 1]], "log": LOG}, "mians"),
        ({"runs": [[*HEADINGS, "kind"], [*row("log"), "x"]], "log": LOG}, "stands there twice"),
    ],
)
def test_a_workbook_that_makes_no_sense_is_refused_as_a_whole(
    sheets: Any, said: str, bench: Client
) -> None:
    page = hand_in(bench, make_workbook(sheets), "odd.xlsx")
    assert page.status_code == 400
    assert said in page.text.replace("&#x27;", "'")
    assert not Run.objects.exists()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.zip", b"PK but not really", "cannot be opened as a zip"),
        ("a.xlsx", b"PK but not really", "This is not a workbook"),
        ("a.csv", no_load_log(), "neither a zip nor a workbook"),
        ("a.zip", b"", "no bytes"),
        ("a.zip", as_zip({"a.csv": b"1"}), "runs.csv is missing"),
        ("a.zip", as_zip({"../../evil.csv": b"1"}), "not a name inside the package"),
        ("a.xlsx", raw_workbook('<row r="1048576"><c r="XFD1048576"/></row>'), "too large"),
        ("a.xlsx", raw_workbook(prologue="<!DOCTYPE x>"), "document type"),
    ],
)
def test_rubbish_is_refused_in_words(name: str, content: bytes, said: str, bench: Client) -> None:
    page = hand_in(bench, content, name)
    assert page.status_code == 400
    assert said in page.text
    assert not Run.objects.exists()


def test_nothing_chosen_is_said(bench: Client) -> None:
    page = bench.post(NEW, {})
    assert page.status_code == 400
    assert "Choose the package" in page.text


def test_a_package_too_large_for_a_page_is_pointed_to_the_command(
    bench: Client, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(packages, "WHILE_WAITING", replace(WHILE_WAITING, rows=1))
    rows = table_of(row("a.csv"), row("a.csv", mains_v=115))
    content = as_zip({"runs.csv": rows, "a.csv": no_load_log()})
    page = hand_in(bench, content)
    assert page.status_code == 400
    assert "lists 2 runs; 1 are taken here at once" in page.text
    settings.MAX_UPLOAD_BYTES = len(content) - 1
    page = hand_in(bench, content)
    assert page.status_code == 413
    assert "intake command" in page.text
    assert not Run.objects.exists()


def test_adapters_come_along_for_those_who_may_write_them_down(
    bench: Client, reviewer: User
) -> None:
    content = as_zip(
        {
            "runs.csv": table_of(row("a.csv", adapter="fenbrook-duo-45")),
            "a.csv": no_load_log(),
            "adapters.csv": "maker,name,rated_power_w\nFenbrook,Duo 45,45\n",
        }
    )
    reviewer.groups.clear()
    reviewer.user_permissions.set(Permission.objects.filter(codename="receive_run"))
    page = hand_in(bench, content)
    assert page.status_code == 400
    assert "may not write down adapters" in page.text
    assert not Adapter.objects.filter(slug="fenbrook-duo-45").exists()
    reviewer.user_permissions.set(
        Permission.objects.filter(codename__in=["receive_run", "add_adapter"])
    )
    page = hand_in(bench, content)
    assert "Adapters: 1 written down" in page.text
    assert Run.objects.get().adapter.slug == "fenbrook-duo-45"


def test_a_full_disk_keeps_what_was_received_and_says_so(
    bench: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep = RawStore.keep
    calls: list[int] = []

    def full_at_the_second(self: RawStore, chunks: Any) -> Any:
        calls.append(1)
        if len(calls) > 1:
            raise OSError(errno.ENOSPC, "No space left on device")
        return keep(self, chunks)

    monkeypatch.setattr(RawStore, "keep", full_at_the_second)
    content = as_zip(
        {
            "runs.csv": table_of(row("a.csv"), row("a.csv", mains_v=115)),
            "a.csv": no_load_log(),
        }
    )
    page = hand_in(bench, content)
    assert page.status_code == 507
    assert "disk is full" in page.text
    assert Run.objects.get().get_absolute_url() in page.text
