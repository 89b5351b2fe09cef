"""Runs whose raw file is not held here: they are shown, told apart, and never computed."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client

from comparisons.packages.importing import take_in
from measurements import processing, queries
from measurements.actions import Refused, RunFacts, amend_run
from measurements.models import RawFile, Run, Value
from measurements.reception.problem_lists import every_problem
from tests.comparisons.packages import bench
from tests.comparisons.packages.conftest import Built
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log, receive

pytestmark = pytest.mark.django_db


@pytest.fixture
def elsewhere(editor: User) -> Run:
    """An accepted run of which only the hash of its file is known here."""
    run = accepted(make_adapter(), no_load_log(0.05), by=editor)
    RawFile.objects.update(held=False)
    stored = queries.raw_store().path(run.raw_id)
    stored.chmod(0o600)
    stored.unlink()
    return run


def test_a_site_without_the_raw_files_counts_them_apart(built: Built) -> None:
    take_in(built.plain)
    assert not RawFile.objects.filter(held=True).exists()
    said = bench.said_by("verify_store")
    assert "0 raw files, all intact." in said
    assert f"{RawFile.objects.count()} more are not held here" in said


def test_with_raw_files_only_the_file_of_a_table_of_results_is_elsewhere(built: Built) -> None:
    take_in(built.raw)
    (left,) = RawFile.objects.filter(held=False)
    assert left.tables.count() == 1
    assert "all intact" in bench.said_by("verify_store")


def test_its_file_is_not_found_and_a_sentence_says_why(elsewhere: Run, client: Client) -> None:
    answer = client.get(f"/runs/{elsewhere.pk}/raw/")
    assert answer.status_code == 404
    assert "is not held here" in answer.content.decode()
    assert elsewhere.raw_id in answer.content.decode()
    assert client.get(elsewhere.get_absolute_url()).status_code == 200


def test_the_api_says_it_too_and_problems_are_those_that_came(
    elsewhere: Run, client: Client
) -> None:
    answer = client.get(f"/api/v1/runs/{elsewhere.pk}/raw/")
    assert answer.status_code == 404
    assert elsewhere.raw_id in answer.json()["detail"]
    assert every_problem(elsewhere) == elsewhere.problems


def test_a_recompute_leaves_it_out_and_says_so(elsewhere: Run) -> None:
    before = list(Value.objects.values())
    said = bench.said_by("recompute")
    assert "1 runs left out: their raw files are not held here." in said
    assert list(Value.objects.values()) == before


@pytest.mark.parametrize(("problems", "state"), [(0, "ready"), (2, "rejected")])
def test_back_in_the_queue_it_keeps_what_came_with_it(
    elsewhere: Run, problems: int, state: str
) -> None:
    Run.objects.update(state="received", problem_count=problems)
    before = list(Value.objects.values())

    assert processing.compute(elsewhere.pk) == state

    assert not Run.objects.due().exists()
    assert list(Value.objects.values()) == before


def test_it_is_not_amended_because_nothing_could_be_computed(elsewhere: Run, editor: User) -> None:
    facts = RunFacts(adapter=elsewhere.adapter, kind="no-load", mains_v=115.0)
    with pytest.raises(Refused, match="not held here"):
        amend_run(elsewhere, facts, by=editor, reason="The other mains.", seen=0)
    elsewhere.refresh_from_db()
    assert elsewhere.standing == "accepted"


def test_whoever_hands_the_file_in_makes_it_whole(elsewhere: Run) -> None:
    found = receive(elsewhere.adapter, no_load_log(0.05))

    assert found.pk == elsewhere.pk
    assert RawFile.objects.get().held
    assert processing.compute(elsewhere.pk, again=True) == "ready"
    assert bench.said_by("verify_store") == "1 raw files, all intact.\n"
