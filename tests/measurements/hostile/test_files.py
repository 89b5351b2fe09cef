"""Hostile raw files: a 4xx or `rejected` with a sentence, through every door."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from measurements import processing
from measurements.models import Arrival, Run
from measurements.reception.reading import read
from tests.factories.api import client_of, upload
from tests.factories.catalog import make_adapter
from tests.measurements.hostile.archives import ADAPTER
from tests.measurements.hostile.doors import assert_whole, commanded, dropped, nothing_kept
from tests.measurements.hostile.file_cases import FILES, FileCase

pytestmark = pytest.mark.django_db

CASES = pytest.mark.parametrize("case", FILES, ids=lambda case: f"{case.number}-{case.how}")


def fields_of(case: FileCase) -> dict[str, str]:
    return {"adapter": ADAPTER, "kind": case.kind, "mains_v": "230", **case.fields}


@CASES
def test_the_api_the_worker_and_the_command_survive_it(
    case: FileCase, reviewer: User, tmp_path: Path
) -> None:
    make_adapter()
    content = case.make()
    said: dict[str, Any] = {**fields_of(case), "file": SimpleUploadedFile("log.csv", content)}
    writer = client_of(reviewer)
    if not content:
        with nothing_kept():
            answer = upload(writer, **said)
            assert case.said in by_command(case, content, tmp_path)[0]
        assert answer.status_code == 400
        assert case.said in answer.text
        return
    answer = upload(writer, **said)
    assert answer.status_code == 202, answer.text
    run = Run.objects.get()
    assert processing.compute(run.pk) == ("rejected" if case.said else "ready"), run.problems
    shown = writer.get(answer["Location"]).json()
    if case.said:
        problem = shown["problems"][0]
        assert case.said in f"{problem}"
        assert problem["detail"].endswith(".")
        assert shown["metrics"] == []
    else:
        assert shown["metrics"]
    assert not case.flag or case.flag in {flag["code"] for flag in shown["flags"]}
    # The same file by another door is the same run.
    told, code = by_command(case, content, tmp_path)
    assert "1 read: 0 taken in, 1 already there, 0 refused." in told
    assert ("rejected: " in told) == bool(case.said)
    assert code == (1 if case.said else 0)
    assert_whole()


def by_command(case: FileCase, content: bytes, folder: Path) -> tuple[str, int]:
    """What the intake command says of the file, and its exit code."""
    path = folder / "log.dat"
    path.write_bytes(content)
    own = {name: text for name, text in case.fields.items() if name != "mains_hz"}
    return commanded(
        path,
        adapter=ADAPTER,
        kind=case.kind,
        mains_v="230",
        mains_hz=case.fields.get("mains_hz", ""),
        method_fields=[f"{name}={text}" for name, text in own.items()],
        accept=True,
    )


@CASES
def test_the_page_and_its_reading_survive_it(
    case: FileCase, client: Client, reviewer: User
) -> None:
    make_adapter()
    client.force_login(reviewer)
    content = case.make()
    answer = dropped(client, reverse("run-new"), content, "log.csv", **fields_of(case))
    if not content:
        assert answer.status_code == 400
        assert "empty" in answer.text
        return
    arrival = Arrival.objects.get()
    read(arrival.pk)
    arrival.refresh_from_db()
    assert arrival.is_read
    assert arrival.found is not None
    page = client.get(arrival.get_absolute_url())
    assert page.status_code == 200
    assert bool(arrival.found["outcome"]) == (not case.said)
    assert not case.said or case.said in f"{arrival.found['problems'][0]}"
    assert_whole()
