"""Every call has an example on the page of documents, and every example runs as it stands."""

from __future__ import annotations

import csv
import runpy
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.contrib.auth.models import User
from django.test import Client

from brickledger.api_docs import EXAMPLES, SCRIPTS
from brickledger.models import ApiToken
from catalog.actions import PortFacts, save_device
from catalog.models import Adapter, Device
from comparisons.actions import publish_comparison, save_comparison
from comparisons.models import Comparison
from measurements import processing, tasks
from measurements.attaching import attach
from measurements.models import Instrument, Run
from tests.description import described
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log
from tests.factories.pictures import picture
from tests.factories.result_tables import accepted_table, standby_table

CALLS = sorted(
    call["operationId"] for calls in described()["paths"].values() for call in calls.values()
)


@pytest.fixture
def working(monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker that computes a run when the bell rings."""

    def compute(args: tuple[str], **_: object) -> None:
        processing.compute(UUID(args[0]))

    monkeypatch.setattr(tasks.compute_run, "apply_async", compute)


@pytest.fixture
def site(
    live_server: Any,
    working: None,
    person: Callable[[str], User],
    monkeypatch: pytest.MonkeyPatch,
) -> Any:
    """A small site with a published adapter, and what the examples read from the environment."""
    editor = person("editor")
    accepted(make_adapter(ports=(PortFacts("C1", "usb-c", 65.0),)), by=editor)
    duo = make_adapter("Duo 45")
    accepted(duo, no_load_log(0.07), by=editor, instruments=(make_meter(),))
    attach(
        to=duo, content=picture(), kind="photograph", title="Label", file_name="l.png", by=editor
    )
    accepted_table(standby_table((duo.slug, 0.062, 0.001)), by=editor)
    save_device(Device(name="Slate tablet", battery_wh=38.0))
    table = Comparison(title="Standby")
    save_comparison(table, adapters=[duo], metrics=["no-load-power"], conditions={}, by=editor)
    publish_comparison(table, by=editor)
    monkeypatch.setenv("BRICKLEDGER_API", f"{live_server.url}/api/v1/")
    monkeypatch.setenv("BRICKLEDGER_TOKEN", ApiToken.issue(name="examples", user=editor))
    return live_server


def test_every_call_has_its_example_and_no_example_is_left_over() -> None:
    assert sorted(path.stem for path in (EXAMPLES / "calls").glob("*.py")) == CALLS


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_every_example_runs_as_it_stands(site: Any, capsys: pytest.CaptureFixture[str]) -> None:
    for name in CALLS:
        runpy.run_path(str(EXAMPLES / "calls" / f"{name}.py"))
        assert capsys.readouterr().out, f"{name} says nothing"


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_examples_may_be_run_again(site: Any) -> None:
    kinds = (Adapter, Device, Instrument, Run)
    before = [kind.objects.count() for kind in kinds]
    for name in ("post_adapters", "post_devices", "post_instruments", "post_runs"):
        for _ in range(2):
            runpy.run_path(str(EXAMPLES / "calls" / f"{name}.py"))
    assert [kind.objects.count() for kind in kinds] == [count + 1 for count in before]


def folder_of_runs(folder: Path, **more: str) -> Path:
    """A folder with two records and a `runs.csv` that describes them."""
    rows = [
        {"adapter": "northfold-solo-65", "kind": "no-load", "mains_v": "230", "file": "a.csv"},
        {
            "adapter": "northfold-duo-45",
            "kind": "no-load",
            "mains_v": "115",
            "file": "b.csv",
            **more,
        },
    ]
    for watts, row in zip((0.061, 0.062), rows, strict=True):
        (folder / row["file"]).write_bytes(no_load_log(watts))
    with (folder / "runs.csv").open("w", newline="") as file:
        table = csv.DictWriter(file, list(rows[1]))
        table.writeheader()
        table.writerows(rows)
    return folder


def upload(folder: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """Run the program for the bench on a folder; how it ends."""
    monkeypatch.setattr(sys, "argv", ["upload_folder.py", str(folder)])
    with pytest.raises(SystemExit) as ended:
        runpy.run_path(str(EXAMPLES / "upload_folder.py"), run_name="__main__")
    return int(str(ended.value.code))


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_the_program_for_the_bench_hands_in_a_folder_and_tells_the_results(
    site: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = folder_of_runs(tmp_path)
    for _ in range(2):
        assert upload(folder, monkeypatch) == 0
        said = capsys.readouterr().out
        assert "a.csv: ready, provisional" in said
        assert "no-load-power {'line': 'low'}: 0.0619997 ± " in said


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_the_program_for_the_bench_tells_what_was_refused(
    site: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert upload(folder_of_runs(tmp_path, mains_v="150"), monkeypatch) == 1
    told = capsys.readouterr()
    assert "a.csv: ready" in told.out
    assert "b.csv: mains_v 150 V is outside both mains ranges" in told.err


@pytest.mark.django_db
def test_the_page_of_documents_shows_every_call_with_its_example() -> None:
    page = Client().get("/api/v1/docs/").content.decode()
    for name in CALLS:
        assert f'id="{name}"' in page
    assert page.count("BRICKLEDGER_API") > len(CALLS)
    for name, _ in SCRIPTS:
        assert name in page
    # Nothing is asked of another host.
    assert 'src="http' not in page
