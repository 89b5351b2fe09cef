"""Hostile packages: refused in words, as a whole or row by row, and nothing half-stored."""

from __future__ import annotations

import html
import os
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from measurements import processing
from measurements.models import Run
from tests.factories.catalog import make_adapter
from tests.measurements.hostile.archives import GOOD, runs_of
from tests.measurements.hostile.doors import (
    assert_whole,
    commanded,
    counts,
    dropped,
    nothing_kept,
)
from tests.measurements.hostile.package_cases import PACKAGES, PackageCase

pytestmark = pytest.mark.django_db

CASES = pytest.mark.parametrize("case", PACKAGES, ids=lambda case: f"{case.number}-{case.how}")


@pytest.fixture(autouse=True)
def bench(client: Client, reviewer: User) -> Client:
    """A reviewer's client, with an adapter written down."""
    make_adapter()
    client.force_login(reviewer)
    return client


@CASES
def test_the_pages_survive_it(bench: Client, case: PackageCase) -> None:
    before, content = counts(), case.make()
    came = {"Run": case.runs, "RawFile": case.runs, "Unit": min(case.runs, 1)}
    for page in ("package-new", "run-new"):
        answer = dropped(bench, reverse(page), content, "package.zip")
        assert case.said in html.unescape(answer.text)
        assert (answer.status_code >= 400) == bool(case.said and not case.rows)
        assert counts() == {name: count + came.get(name, 0) for name, count in before.items()}
        assert_whole()
    for run in Run.objects.all():
        assert processing.compute(run.pk) == ("rejected" if case.number == 2 else "ready")


@CASES
def test_the_command_survives_it(case: PackageCase, tmp_path: Path) -> None:
    path = tmp_path / "package.zip"
    path.write_bytes(case.make())
    said, code = commanded(path)
    assert case.said in said
    assert code == (1 if case.said else 0)
    assert Run.objects.count() == case.runs
    assert_whole()
    again, _ = commanded(path)
    assert f" {case.runs} already there" in again or not case.runs
    assert Run.objects.count() == case.runs


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    folder = tmp_path / "package"
    folder.mkdir()
    (folder / "runs.csv").write_text(runs_of("a.csv", "b.csv"), encoding="ascii")
    (folder / "b.csv").write_bytes(GOOD)
    os.mkfifo(folder / "a.csv")
    said, code = commanded(folder)
    assert code == 1
    assert "no file “a.csv”" in said
    assert Run.objects.count() == 1
    os.mkfifo(tmp_path / "pipe.zip")
    with nothing_kept():
        assert "no ordinary file" in commanded(tmp_path / "pipe.zip")[0]


def test_a_name_cannot_speak_to_the_terminal(tmp_path: Path) -> None:
    folder = tmp_path / "package"
    folder.mkdir()
    (folder / "runs.csv").write_text(runs_of("..\x1b[2J\u202egnp.csv"), encoding="utf-8")
    said, _ = commanded(folder)
    assert "no file" in said
    assert not {"\x1b", "\u202e"} & set(said)
