"""A package holds what the public sees, and no word of anything else."""

from __future__ import annotations

import csv
import io
import json
from functools import cache
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone
from pytest_django.fixtures import Settings

from comparisons.actions import publish_comparison, save_comparison
from comparisons.models import Comparison
from comparisons.packages.importing import take_in
from measurements.actions import RunFacts, amend_run
from measurements.models import Run
from tests.comparisons.packages import bench
from tests.comparisons.packages.conftest import Built
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log


def cells(path: Path, table: str, column: str) -> list[str]:
    """A column of a table of a package."""
    text = bench.contents(path)[f"{table}.csv"].decode("utf-8")
    return [row[column] for row in csv.DictReader(io.StringIO(text, newline=""))]


@cache
def spelled_out(path: Path) -> dict[str, bytes]:
    """Every file of a package, Parquet as plain text: it is packed itself."""
    return {
        name: repr(pq.read_table(io.BytesIO(content)).to_pylist()).encode()
        if name.endswith(".parquet")
        else content
        for name, content in bench.contents(path).items()
    }


@pytest.mark.parametrize("which", ["plain", "raw", "parquet"])
@pytest.mark.parametrize("word", bench.HIDDEN_WORDS)
def test_no_file_spells_what_is_hidden(built: Built, which: str, word: str) -> None:
    spelled = spelled_out(getattr(built, which))
    assert [name for name, content in spelled.items() if word.encode() in content] == []


@pytest.mark.parametrize(("which", "least"), [("plain", 9), ("raw", 9), ("parquet", 18)])
def test_the_search_would_find_a_word_that_is_there(built: Built, which: str, least: int) -> None:
    spelled = spelled_out(getattr(built, which))
    found = [name for name, content in spelled.items() if b"northfold-duo-45" in content]
    assert len(found) >= least


def test_only_runs_that_readers_see_are_in_it(built: Built) -> None:
    standings = cells(built.plain, "records", "standing")
    assert set(standings) == {"accepted", "superseded", "withdrawn"}
    assert len(standings) == built.runs_of_the_bench - 3


def test_the_file_of_a_table_of_results_stays_here(built: Built) -> None:
    # It names an adapter under embargo; readers of the site do not get it either.
    (table,) = cells(built.raw, "result_tables", "sha256")
    assert not any(table in name for name in bench.contents(built.raw))
    assert cells(built.raw, "values", "source").count("table") == 1


def test_of_a_picture_only_the_clean_copy_is_in_it(built: Built) -> None:
    (shown,) = cells(built.raw, "attachments", "sha256")
    pictures = [name for name in bench.contents(built.raw) if name.startswith("attachments/")]
    assert pictures == [f"attachments/{shown}.jpeg"]
    assert cells(built.raw, "attachments", "title") == ["Start-up"]


def test_a_reference_to_a_run_that_waits_is_empty_here_and_after_the_import(
    tmp_path: Path, db: None, editor: User
) -> None:
    with transaction.atomic():
        adapter = make_adapter()
        older = accepted(adapter, no_load_log(0.05), by=editor)
        newer = accepted(adapter, no_load_log(0.06), by=editor)
        facts = RunFacts(adapter=adapter, kind="no-load", mains_v=231.0, note="once more")
        amend_run(newer, facts, by=editor, reason="A word was missing.", seen=0)
        # As it stays where nothing of the older run stood again.
        Run.objects.filter(pk=older.pk).update(standing="superseded", superseded_by=newer)
        path = bench.exported(tmp_path / "package.zip")
        transaction.set_rollback(True)

    assert cells(path, "records", "run") == [str(older.pk)]
    assert cells(path, "records", "superseded_by") == [""]
    spelled = spelled_out(path)
    assert [name for name, content in spelled.items() if str(newer.pk).encode() in content] == []

    take_in(path)
    assert Run.objects.get().standing == "superseded"
    assert bench.hashes(bench.exported(tmp_path / "again.zip")) == bench.hashes(path)


def test_a_comparison_of_an_adapter_put_under_embargo_since_is_left_out(
    tmp_path: Path, db: None, editor: User
) -> None:
    adapters = [make_adapter(), make_adapter("Late 20")]
    draft = Comparison(title="Both")
    save_comparison(draft, adapters=adapters, metrics=("power-density",), conditions={}, by=editor)
    publish_comparison(draft, by=editor)
    adapters[1].publish_on = timezone.now().date().replace(year=2999)
    adapters[1].save()

    path = bench.exported(tmp_path / "package.zip")

    assert cells(path, "comparisons", "slug") == []
    assert b"late-20" not in b"".join(bench.contents(path).values())


@pytest.mark.parametrize(
    ("chosen", "told"),
    [
        ("ODC-By-1.0", [{"name": "ODC-By-1.0"}]),
        ("https://example.org/terms", [{"path": "https://example.org/terms"}]),
        ("", None),
    ],
)
def test_the_descriptor_names_licence_and_site_but_no_person(
    tmp_path: Path, db: None, settings: Settings, chosen: str, told: object
) -> None:
    settings.DATA_LICENCE = chosen
    path = bench.exported(tmp_path / "package.zip")
    content = json.loads(bench.contents(path)["datapackage.json"])
    assert content.get("licenses") == told
    assert content["contributors"] == [{"title": "Brickledger", "roles": ["creator"]}]
