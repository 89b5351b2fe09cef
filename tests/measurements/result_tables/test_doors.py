"""Tables through every door: page, API, package, command."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from django.urls import reverse

from catalog.models import Adapter, Port
from measurements import queries
from measurements.models import ResultTable, Run, Value
from tests.factories.api import client_of, faulty_fields
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log
from tests.factories.result_tables import received_table, standby_table
from tests.factories.workbooks import make_workbook

pytestmark = pytest.mark.django_db

NEW = reverse("result-table-new")
SOLO = "northfold-solo-65"
RESULTS = standby_table((SOLO, 0.05, None))
ADAPTERS = b"maker,name,rated_power_w\nNorthfold,Solo 65,65\n"
PORTS = b"adapter,label,connector\nnorthfold-solo-65,C1,usb-c\n"


def as_file(content: bytes, name: str = "results.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content)


def test_results_come_with_their_adapters_and_an_editor_accepts(
    client: Client, reviewer: User, editor: User
) -> None:
    client.force_login(reviewer)
    sent = [as_file(RESULTS, "old.csv"), as_file(ADAPTERS, "a.csv"), as_file(PORTS, "p.csv")]
    answer = client.post(NEW, {"sent": sent, "origin": "Bench of 2019"}, follow=True)
    table = ResultTable.objects.get()
    assert answer.redirect_chain == [(f"/tables/{table.pk}/", 302)]
    assert "waits for an editor" in answer.content.decode()
    assert Port.objects.get(adapter__slug=SOLO).label == "C1"
    with queries.raw_store().open(table.raw_id) as kept:
        assert kept.read() == RESULTS
    address = reverse("result-table-accept", args=[table.pk])
    assert client.post(address).status_code == 403
    assert Client().get(table.get_absolute_url()).status_code == 404
    client.force_login(editor)
    assert client.post(address, follow=True).status_code == 200
    shown = Client().get(table.get_absolute_url()).content.decode()
    assert "Bench of 2019" in shown
    assert "U not stated" in shown
    raw = reverse("result-table-raw", args=[table.pk])
    assert Client().get(raw).status_code == 302
    assert b"".join(client.get(raw).streaming_content) == RESULTS  # type: ignore[attr-defined]


def test_a_measured_value_stands_beside_the_one_of_the_table(client: Client, editor: User) -> None:
    accepted(make_adapter(), by=editor)
    table = received_table(RESULTS, by=editor)
    client.force_login(editor)
    shown = client.get(table.get_absolute_url())
    assert shown.context["found"].beside_measured == 1
    assert "the measured value counts" in shown.content.decode()


def test_the_page_refuses_without_keeping_anything(client: Client, reviewer: User) -> None:
    assert client.get(NEW).status_code == 302
    client.force_login(reviewer)
    assert client.get(NEW).status_code == 200
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("runs.csv", "adapter,kind,file\n")
    wrong: tuple[tuple[dict[str, Any], str], ...] = (
        ({}, "Choose the table"),
        ({"sent": as_file(RESULTS)}, "Say where the results come from"),
        ({"sent": as_file(RESULTS), "origin": "x"}, "No adapter is called"),
        ({"sent": as_file(b"a,b\n1,2\n"), "origin": "x"}, "is no table of results"),
        ({"sent": as_file(archive.getvalue(), "x.zip"), "origin": "x"}, "lists runs"),
        ({"sent": as_file(b"PK", "x.zip"), "origin": "x"}, "cannot be opened as a zip"),
    )
    for data, says in wrong:
        answer = client.post(NEW, data)
        assert answer.status_code == 400
        assert says in answer.content.decode()
    assert not ResultTable.objects.exists()


def test_a_workbook_gives_its_worksheets(client: Client, reviewer: User) -> None:
    rows = [line.split(",") for line in RESULTS.decode().split()]
    book = make_workbook(
        {
            "results": rows,
            "adapters": [["maker", "name", "rated_power_w"], ["Northfold", "Solo 65", 65]],
        }
    )
    client.force_login(reviewer)
    sent = as_file(book, "history.xlsx")
    assert client.post(NEW, {"sent": sent, "origin": "Bench of 2019"}).status_code == 302
    assert ResultTable.objects.get().file_name == "history.xlsx"


def test_ports_by_table_complete_a_known_adapter_and_change_nothing_else(
    client: Client, reviewer: User
) -> None:
    make_adapter()
    content = (
        "adapter,label,connector,rated_power_w\n"
        f"{SOLO},C1,usb-a,5\n{SOLO},A1,usb-a,12\nnobody,C1,usb-c,9\n"
    ).encode()
    client.force_login(reviewer)
    answer = client.post(NEW, {"sent": as_file(content, "ports.csv")})
    assert answer.status_code == 400
    assert "No adapter is called “nobody”" in answer.content.decode()
    ports = Port.objects.filter(adapter__slug=SOLO).order_by("position")
    assert [(port.label, port.rated_power_w) for port in ports] == [("C1", 65.0), ("A1", 12.0)]


def test_the_api_takes_accepts_and_withdraws(reviewer: User, editor: User) -> None:
    make_adapter()
    address = "/api/v1/tables/"
    door = client_of(reviewer)
    said = {"file": as_file(RESULTS), "origin": "Bench of 2019"}
    made = door.post(address, said, format="multipart")
    assert made.status_code == 201
    one = made["Location"]
    said["file"] = as_file(RESULTS)
    assert door.post(address, said, format="multipart").status_code == 200
    assert door.post(f"{one}accept/").status_code == 403
    assert client_of(None).get(one).status_code == 404
    judge = client_of(editor)
    (row,) = judge.post(f"{one}accept/").json()["results"]
    assert (row["source"], row["standard_uncertainty"], row["fate"]) == ("table", None, "stands")
    assert len(client_of(None).get(address).json()["results"]) == 1
    assert judge.post(f"{one}accept/").status_code == 409
    gone = judge.post(f"{one}withdraw/", {"reason": "Doubt."}, format="json").json()
    assert gone["standing"] == "withdrawn"
    assert not Value.objects.of_tables().current().exists()


def test_the_api_names_what_is_wrong(reviewer: User) -> None:
    door, address = client_of(reviewer), "/api/v1/tables/"

    def post(**said: object) -> set[str]:
        return faulty_fields(door.post(address, said, format="multipart"))

    assert post() == {"file", "origin"}
    assert post(file=as_file(RESULTS), origin="x", colour="red") == {"colour"}
    assert post(file=as_file(b"a\n"), origin="x") == {"file"}
    assert post(file=as_file(RESULTS), origin="x") == {"adapter"}
    assert client_of(None).post(address).status_code == 401


def test_a_package_of_tables_alone_is_accepted_by_command(tmp_path: Path) -> None:
    root = tmp_path / "history"
    root.mkdir()
    (root / "adapters.csv").write_bytes(ADAPTERS)
    (root / "results.csv").write_bytes(RESULTS)
    (root / "datapackage.json").write_text('{"title": "Standby 2019", "resources": []}')
    out = io.StringIO()
    for _ in range(2):
        call_command("intake", str(root), "--accept", stdout=out)
    assert "1 results read: 1 taken in, 0 refused." in out.getvalue()
    assert ResultTable.objects.get().origin == "Standby 2019"
    assert Value.objects.of_tables().current().count() == 1


def test_a_package_brings_runs_and_results_together(tmp_path: Path) -> None:
    make_adapter()
    (tmp_path / "runs.csv").write_text(
        f"adapter,kind,file,mains_v\n{SOLO},no-load,a.csv,230\n", encoding="utf-8"
    )
    (tmp_path / "a.csv").write_bytes(no_load_log())
    (tmp_path / "results.csv").write_bytes(RESULTS)
    call_command("intake", str(tmp_path), stdout=io.StringIO())
    assert Run.objects.count() == 1
    assert ResultTable.objects.get().origin == tmp_path.name
    assert not Value.objects.current().of_tables().exists()


def test_one_table_by_itself_and_its_refusals_on_the_command_line(tmp_path: Path) -> None:
    alone = tmp_path / "adapters.csv"
    alone.write_bytes(ADAPTERS)
    call_command("intake", str(alone), stdout=io.StringIO())
    assert Adapter.objects.get().slug == SOLO
    (tmp_path / "results.csv").write_bytes(standby_table(("nobody", 1.0, None)))
    errors = io.StringIO()
    with pytest.raises(CommandError, match="1 not as wished"):
        call_command("intake", str(tmp_path / "results.csv"), stdout=io.StringIO(), stderr=errors)
    assert "results.csv, line 2, adapter: No adapter is called “nobody”" in errors.getvalue()
