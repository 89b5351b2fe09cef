"""Export, empty site, import, export: the same bytes of every table, and the same runs."""

from __future__ import annotations

import csv
import io
import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from catalog.models import Adapter
from comparisons.actions import hash_of
from comparisons.models import Comparison
from comparisons.packages.importing import take_in
from measurements import processing, queries
from measurements.actions import withdraw_run
from measurements.models import Amendment, RawFile, Run, Value
from tests.comparisons.packages import bench
from tests.comparisons.packages.conftest import Built
from tests.factories.measurements import no_load_log

pytestmark = pytest.mark.django_db


def rows_of(path: Path, table: str) -> list[dict[str, str]]:
    """The rows of a table of a package."""
    text = bench.contents(path)[f"{table}.csv"].decode("utf-8")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def _of(content: bytes) -> Any:
    return RawFile.objects.filter(pk=sha256(content).hexdigest()).values("pk")


def test_the_same_state_gives_the_same_bytes(built: Built) -> None:
    assert bench.hashes(built.raw) == bench.hashes(built.again)


def test_every_table_has_rows_so_that_the_round_trip_says_something(built: Built) -> None:
    empty = [
        name
        for name, content in bench.contents(built.raw).items()
        if name.endswith(".csv") and "/" not in name and content.count(b"\r\n") < 2
    ]
    assert empty == []


def test_raw_files_change_nothing_but_the_column_that_names_them(built: Built) -> None:
    plain, raw = bench.hashes(built.plain), bench.hashes(built.raw)
    assert [name for name in plain if plain[name] != raw[name]] == ["runs.csv"]
    assert {row["file"] for row in rows_of(built.plain, "runs")} == {""}
    assert all(row["file"].startswith("raw/") for row in rows_of(built.raw, "runs"))


@pytest.mark.parametrize("with_raw", [False, True], ids=["tables only", "with raw files"])
def test_an_empty_site_gives_the_same_package_again(
    built: Built, tmp_path: Path, with_raw: bool
) -> None:
    source = built.raw if with_raw else built.plain
    take_in(source)

    again = bench.exported(tmp_path / "again.zip", with_raw=with_raw)

    assert bench.hashes(again) == bench.hashes(source)


@pytest.mark.parametrize("which", ["plain", "raw", "parquet"])
def test_the_raw_store_gets_the_raw_files_and_nothing_else(built: Built, which: str) -> None:
    take_in(getattr(built, which))
    store = queries.raw_store()
    kept = {path.name for path in store.root.rglob("*") if path.is_file()}
    held = RawFile.objects.filter(held=True).values_list("pk", flat=True)
    assert kept == set(held)
    assert {store.check(sha256) for sha256 in kept} == (set() if which == "plain" else {"intact"})


def test_a_recompute_of_what_was_taken_in_changes_no_value(built: Built) -> None:
    take_in(built.raw)
    said = bench.said_by("recompute")

    assert Run.objects.exclude(standing="withdrawn").count() >= 40
    assert ", 0 values changed." in said


def test_what_is_taken_in_is_shown_as_before(built: Built, client: Client) -> None:
    take_in(built.raw)
    adapter = Adapter.objects.get(slug="northfold-duo-45")
    withdrawn = Run.objects.get(standing="withdrawn")
    comparison = Comparison.objects.get(slug="two-of-them")

    assert adapter.changed_at < withdrawn.events.get().at
    assert client.get(adapter.get_absolute_url()).status_code == 200
    assert "The lead was loose." in client.get(withdrawn.get_absolute_url()).content.decode()
    assert client.get(comparison.get_absolute_url()).status_code == 200
    assert hash_of(comparison.frozen) == comparison.frozen_hash
    assert [note["text"] for note in comparison.cell_notes] == ["Repeated."]
    assert comparison.metric_conditions == [
        {"metric": "no-load-power", "conditions": {"line": "high"}}
    ]
    assert comparison.blocks == ["efficiency:high:20", "sharing:high"]
    assert comparison.columns.get(adapter=adapter).group == "At home"
    assert client.get("/rankings/no-load-power/").status_code == 200


def test_the_same_file_handed_in_again_finds_its_run(built: Built) -> None:
    take_in(built.plain)
    adapter = Adapter.objects.get(slug="northfold-duo-45")
    run = Run.objects.get(raw__in=_of(no_load_log(0.052)))
    assert not run.raw.held

    found = bench.receive_again(adapter, no_load_log(0.052), mains_hz=50.0)

    assert found == run.pk
    assert RawFile.objects.get(pk=run.raw_id).held
    assert queries.raw_store().check(run.raw_id) == "intact"


def test_a_file_handed_in_as_before_its_amendment_finds_the_amended_run(built: Built) -> None:
    take_in(built.raw)
    adapter = Adapter.objects.get(slug="northfold-duo-45")
    amendment = Amendment.objects.get(run__raw__in=_of(no_load_log(0.06)))
    assert amendment.identity

    found = bench.receive_again(adapter, no_load_log(0.06), unit="A-2", note="other words")

    assert found == amendment.run_id


def test_of_a_hidden_adapter_an_amendment_tells_nothing(built: Built) -> None:
    take_in(built.raw)
    amendment = Amendment.objects.get(run__raw__in=_of(no_load_log(0.07)))
    assert amendment.before["adapter"] is None
    assert amendment.before["unit"] is None
    assert amendment.after["unit"] == "A-3"
    assert amendment.identity == ""


def test_history_goes_on_after_the_import(built: Built, editor: User) -> None:
    take_in(built.raw)
    oldest = Run.objects.get(raw__in=_of(no_load_log(0.051)))
    assert oldest.standing == "superseded"
    standing = Value.objects.measured().current()
    place = standing.filter(adapter=oldest.adapter, metric="no-load-power", line="high")

    # One after the other the newer ones are taken back; at last the first stands again.
    for _ in range(10):
        value = place.get()
        if value.run == oldest:
            break
        assert value.run is not None
        withdraw_run(value.run, by=editor, reason="Out of order.")

    assert value.run == oldest
    assert value.value == pytest.approx(0.051, abs=1e-4)
    oldest.refresh_from_db()
    assert oldest.standing == "accepted"


def test_numbers_come_back_to_the_last_digit(built: Built) -> None:
    take_in(built.plain)
    stored = Value.objects.order_by("adapter__slug", "metric", "condition_key", "pk")
    said = [row["value"] for row in rows_of(built.plain, "values")]
    assert [repr(value) for value in stored.values_list("value", flat=True)] == said


def test_what_is_hidden_is_not_taken_along(built: Built) -> None:
    take_in(built.raw)
    assert Run.objects.count() == built.runs_of_the_bench - 3
    assert User.objects.count() == 0
    assert not Value.objects.filter(current_from=None, run__standing="provisional").exists()


def test_a_computation_that_was_under_way_goes_on_after_the_import(built: Built) -> None:
    take_in(built.raw)
    run = Run.objects.filter(state="ready", kind="no-load").first()
    assert run is not None
    assert processing.compute(run.pk, again=True) == "ready"


def test_json_keeps_one_spelling(built: Built) -> None:
    for row in rows_of(built.plain, "records"):
        fields = json.loads(row["method_fields"])
        assert json.dumps(fields, sort_keys=True, separators=(",", ":")) == row["method_fields"]
