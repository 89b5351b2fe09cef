"""Runs over HTTP: handing in."""

from __future__ import annotations

import errno
import hashlib
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import encode_multipart
from django.utils import timezone
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from catalog.models import Adapter
from measurements import processing
from measurements.intake.rawstore import RawStore
from measurements.models import RawFile, Run
from tests.factories.api import assert_problem, client_of, faulty_fields, upload
from tests.factories.catalog import make_adapter
from tests.factories.measurements import make_meter, no_load_log

pytestmark = pytest.mark.django_db

LIST = "/api/v1/runs/"


@pytest.fixture
def adapter() -> Adapter:
    return make_adapter()


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


@pytest.fixture
def writer(adapter: Adapter, reviewer: User) -> APIClient:
    return client_of(reviewer)


def one(run: Run, part: str = "") -> str:
    return f"{LIST}{run.pk}/{part}"


def test_a_file_is_durable_and_its_run_written_before_the_answer(
    writer: APIClient, own_raw_store: Path, reviewer: User
) -> None:
    make_meter()
    content = no_load_log()
    answer = upload(
        writer,
        content=content,
        unit="B",
        measured_at="2026-04-04T14:30:00Z",
        mains_hz="50",
        ambient_c="23",
        port="C1",
        instruments=["Bench meter"],
        note="first",
    )
    assert answer.status_code == 202, answer.content
    receipt = answer.json()
    digest = hashlib.sha256(content).hexdigest()
    assert (receipt["state"], receipt["standing"]) == ("received", "provisional")
    assert receipt["raw_sha256"] == digest
    assert answer["Location"] == f"{LIST}{receipt['id']}/"
    assert RawStore(own_raw_store).path(digest).read_bytes() == content
    run = Run.objects.get()
    assert run.received_by == reviewer
    shown = writer.get(answer["Location"]).json()
    assert shown["instruments"] == ["Bench meter"]
    assert (shown["unit"], shown["port"], shown["line"]) == ("B", "C1", "high")
    assert shown["measured_at"] == "2026-04-04T14:30:00Z"


def test_the_shape_of_a_computed_run_is_the_contracts(writer: APIClient) -> None:
    make_meter()
    answer = upload(writer, content=no_load_log(0.2124, minutes=10), instruments=["Bench meter"])
    processing.compute(Run.objects.get().pk)
    content = writer.get(answer["Location"]).json()
    assert content["id"] == str(Run.objects.get().pk)
    assert content["adapter"] == "northfold-solo-65"
    assert (content["kind"], content["state"]) == ("no-load", "ready")
    assert {"code", "severity", "detail"} == set(content["flags"][0])
    assert "short-record" in {flag["code"] for flag in content["flags"]}
    power = next(row for row in content["metrics"] if row["metric"] == "no-load-power")
    assert power["value"] == pytest.approx(0.2124, abs=1e-4)
    assert power["unit"] == "W"
    assert power["standard_uncertainty"] > 0
    assert power["condition"] == {"line": "high"}
    assert power["method"] == "1.0"
    verdict = next(row for row in content["verdicts"] if row["scheme"] == "level-vi")
    assert {
        "scheme",
        "clause",
        "quantity",
        "limit",
        "value",
        "margin",
        "outcome",
        "deviations",
    } <= set(verdict)
    assert verdict["margin"] == pytest.approx(verdict["limit"] - verdict["value"])


def test_a_rejected_run_names_row_and_column(writer: APIClient) -> None:
    content = b"time_s,input_power_w\n0,0.05\n1,much\n2,0.05\n"
    answer = upload(writer, content=content)
    assert answer.status_code == 202
    processing.compute(Run.objects.get().pk)
    shown = writer.get(answer["Location"]).json()
    assert shown["state"] == "rejected"
    assert shown["metrics"] == []
    problem = shown["problems"][0]
    assert (problem["row"], problem["column"]) == (3, "input_power_w")
    assert problem["detail"]


def test_the_same_file_again_answers_with_the_run_that_is_there(writer: APIClient) -> None:
    first = upload(writer)
    for headers in ({}, {"Idempotency-Key": "7d6f"}, {"Idempotency-Key": "7d6f"}):
        again = upload(writer, headers=headers)
        assert again.status_code == 200
        assert again.json() == first.json()
        assert again["Location"] == first["Location"]
    assert Run.objects.count() == 1


@pytest.mark.parametrize(
    "other", [{"mains_v": "115"}, {"unit": "2"}, {"ambient_c": "25"}, {"mains_hz": "50"}]
)
def test_the_same_file_under_another_condition_is_another_run(
    writer: APIClient, other: dict[str, Any]
) -> None:
    upload(writer)
    assert upload(writer, **other).status_code == 202
    assert (Run.objects.count(), RawFile.objects.count()) == (2, 1)


def test_a_key_that_is_too_long_is_refused(writer: APIClient) -> None:
    refused = upload(writer, headers={"Idempotency-Key": "k" * 201})
    assert faulty_fields(refused) == {"Idempotency-Key"}
    assert upload(writer, headers={"Idempotency-Key": "k" * 200}).status_code == 202


WRONG: list[tuple[dict[str, Any], str]] = [
    ({"file": None}, "file"),
    ({"file": "text"}, "file"),
    ({"file": SimpleUploadedFile("log.csv", b"")}, "file"),
    ({"adapter": None}, "adapter"),
    ({"adapter": "none-such"}, "adapter"),
    ({"adapter": "a\0b"}, "adapter"),
    ({"adapter": "x" * 100_000}, "adapter"),
    ({"adapter": ["northfold-solo-65", "northfold-solo-65"]}, "adapter"),
    ({"kind": None}, "kind"),
    ({"kind": "none-such"}, "kind"),
    ({"kind": "../../etc"}, "kind"),
    ({"mains_v": None}, "mains_v"),
    ({"mains_v": "150"}, "mains_v"),
    ({"mains_v": "nan"}, "mains_v"),
    ({"mains_v": "1e999"}, "mains_v"),
    ({"mains_v": "230 V"}, "mains_v"),
    ({"mains_hz": "400"}, "mains_hz"),
    ({"ambient_c": "-300"}, "ambient_c"),
    ({"port": "Z9"}, "port"),
    ({"unit": "x" * 81}, "unit"),
    ({"note": "x" * 2001}, "note"),
    ({"measured_at": "yesterday"}, "measured_at"),
    ({"instruments": ["None such"]}, "instruments"),
    ({"instruments": ["a\0b"]}, "instruments"),
    ({"state": "ready"}, "state"),
    ({"standing": "accepted"}, "standing"),
    ({"received_by": "1"}, "received_by"),
    ({"lead_resistance_ohm": "0.1"}, "lead_resistance_ohm"),
    ({"other": SimpleUploadedFile("other.csv", b"x")}, "other"),
    (
        {"file": [SimpleUploadedFile("a.csv", b"x"), SimpleUploadedFile("b.csv", b"y")]},
        "file",
    ),
    ({"kind": "thermal", "materials": "{"}, "materials"),
    ({"kind": "thermal", "materials": "[" * 20_000}, "materials"),
    ({"kind": "thermal", "materials": "[" * 300 + "]" * 300}, "materials"),
    ({"kind": "thermal", "materials": '{"top": NaN}'}, "materials"),
    ({"kind": "thermal", "materials": '{"top": 1e999}'}, "materials"),
    ({"kind": "thermal", "materials": '{"top": "\\u0000"}'}, "materials"),
    ({"kind": "thermal", "materials": '{"top": "\\ud800"}'}, "materials"),
]


@pytest.mark.parametrize(("wrong", "field"), WRONG)
def test_a_wrong_upload_is_refused_by_field_and_nothing_is_kept(
    writer: APIClient, own_raw_store: Path, wrong: dict[str, Any], field: str
) -> None:
    for file in wrong.get("file") or ():
        if isinstance(file, SimpleUploadedFile):
            file.seek(0)
    assert field in faulty_fields(upload(writer, **wrong))
    assert not Run.objects.exists()
    assert not own_raw_store.exists()


def test_a_moment_in_the_future_is_refused(writer: APIClient) -> None:
    moment = timezone.now() + timedelta(days=1)
    assert faulty_fields(upload(writer, measured_at=moment.isoformat())) == {"measured_at"}


def test_every_fault_of_an_upload_is_named_at_once(writer: APIClient) -> None:
    answer = upload(writer, file=None, adapter="none-such", mains_v="1")
    assert faulty_fields(answer) == {"file", "adapter", "mains_v"}


def test_a_file_past_the_limit_is_refused_with_nothing_kept(
    writer: APIClient, settings: Settings, own_raw_store: Path
) -> None:
    settings.MAX_UPLOAD_BYTES = 1000
    assert_problem(upload(writer, content=b"x" * 1001), 413, name="too-large")
    assert_problem(upload(writer, content=b"x" * 3_000_000), 413, name="too-large")
    assert not Run.objects.exists()
    assert not [path for path in own_raw_store.rglob("*") if path.is_file()]


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
def test_a_full_disk_is_told_as_such_with_nothing_kept(
    writer: APIClient, monkeypatch: pytest.MonkeyPatch, own_raw_store: Path, number: int
) -> None:
    def full(*_: object) -> None:
        raise OSError(number, "no room")

    monkeypatch.setattr("measurements.intake.rawstore.os.fsync", full)
    assert_problem(upload(writer), 507, name="storage-full")
    assert not Run.objects.exists()
    assert not [path for path in own_raw_store.rglob("*") if path.is_file()]


def test_json_is_not_taken_for_a_file(writer: APIClient) -> None:
    assert_problem(writer.post(LIST, {"adapter": "x"}, format="json"), 415, name="media-type")


@pytest.mark.parametrize(
    ("body", "content_type"),
    [
        ("no parts", "multipart/form-data; boundary=b"),
        ("x", "multipart/form-data"),
        ('--b\r\nContent-Disposition: form-data; name="a"', "multipart/form-data; boundary=b"),
        ("--b\r\n\r\n--b--", "multipart/form-data; boundary=b; charset=none-such"),
    ],
)
def test_a_broken_form_is_refused(writer: APIClient, body: str, content_type: str) -> None:
    assert_problem(writer.generic("POST", LIST, body, content_type), 400)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9, 0.99])
def test_a_form_that_was_cut_on_the_way_is_refused_whole(
    writer: APIClient, own_raw_store: Path, share: float
) -> None:
    said = {"adapter": "northfold-solo-65", "kind": "no-load", "mains_v": "230", "ambient_c": "23"}
    file = SimpleUploadedFile("log.csv", no_load_log(minutes=1))
    body = encode_multipart("b", {"file": file, **said})
    whole: Any = {"data": body.decode("ascii"), "content_type": "multipart/form-data; boundary=b"}
    arrived: Any = {"wsgi.input": BytesIO(body[: int(len(body) * share)])}
    assert_problem(writer.generic("POST", LIST, **whole, **arrived), 400, name="malformed")
    assert not Run.objects.exists()
    assert not own_raw_store.exists()
    assert writer.generic("POST", LIST, **whole).status_code == 202


def test_ten_thousand_parts_are_refused(writer: APIClient) -> None:
    fields: dict[str, Any] = {f"field{number}": "x" for number in range(10_000)}
    assert_problem(upload(writer, **fields), 400, name="malformed")
    files: dict[str, Any] = {
        f"file{number}": SimpleUploadedFile("a", b"x") for number in range(200)
    }
    assert_problem(upload(writer, **files), 400, name="malformed")


@pytest.mark.parametrize(
    "name", ["x" * 4000 + ".csv", 'a"b\r\nX-Evil: 1.csv', "../../etc/passwd", "°C.csv", "a\0b.csv"]
)
def test_a_hostile_file_name_does_no_harm(writer: APIClient, name: str) -> None:
    answer = upload(writer, file=SimpleUploadedFile(name, no_load_log()))
    assert answer.status_code == 202
    raw = writer.get(answer["Location"] + "raw/")
    assert b"".join(raw) == no_load_log()
    disposition = raw["Content-Disposition"]
    assert disposition.startswith("attachment;")
    assert not {"\r", "\n", "\0", "/"} & set(disposition)
    assert "X-Evil" not in raw.headers
