"""What changed in a ranking, told apart by cause."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalog.models import Adapter
from comparisons.queries.cohorts import Filters
from comparisons.queries.ranking_changes import CAUSES, RankingChanges, ranking_changes
from comparisons.queries.rankings import Ranking, ranking
from measurements.actions import withdraw_run
from measurements.kinds import all_metrics
from measurements.models import Amendment, Ledger, Run, Value
from tests.comparisons.populations import HIGH_LINE, run_of, stand
from tests.factories.catalog import make_adapter
from tests.factories.result_tables import accepted_table, standby_table

pytestmark = pytest.mark.django_db

STANDBY = all_metrics()["no-load-power"]
LONG_AGO = datetime(2026, 1, 10, tzinfo=UTC)
SINCE = datetime(2026, 3, 1, tzinfo=UTC)
LATER = datetime(2026, 4, 1, tzinfo=UTC)


def made(name: str, **facts: Any) -> Adapter:
    """An adapter that was known long ago, so that its catalogue values stood then."""
    adapter = make_adapter(name, **facts)
    adapter.values.update(current_from=LONG_AGO)
    return adapter


def stood(name: str, value: float, **facts: Any) -> Value:
    return stand(made(name), value, since=LONG_AGO, **facts)


def closed(value: Value, **facts: Any) -> Value:
    Value.objects.filter(pk=value.pk).update(current_until=LATER, **facts)
    Ledger.turn()
    return value


def changes(**asked: Any) -> RankingChanges:
    found = ranking(STANDBY, HIGH_LINE, viewer=None, **asked)
    return ranking_changes(found.cohort, since=SINCE, viewer=None, **asked)


def causes(found: RankingChanges) -> dict[str, list[str]]:
    return {group.cause: [change.adapter.name for change in group.listed] for group in found.groups}


def ranks(found: Ranking) -> dict[str, int]:
    return {row.adapter.name: row.rank for row in found.rows}


def test_nothing_changed_says_so(client: Client) -> None:
    stood("Solo 1", 0.05)
    assert changes() == RankingChanges(groups=(), moved=0)
    page = client.get("/rankings/no-load-power/?since=2026-02-28").content.decode()
    assert "Nothing changed in this ranking since then." in page


def test_every_cause_is_told_apart(editor: User) -> None:
    stood("Steady 1", 0.10)
    stand(make_adapter("New 1"), 0.01, since=LATER)
    stand(made("First 1"), 0.02, since=LATER)
    closed(stood("Cool 1", 0.06, apart="The room was too warm."))
    stand(Adapter.objects.get(name="Cool 1"), 0.06, since=LATER)
    closed(stood("Again 1", 0.07))
    stand(Adapter.objects.get(name="Again 1"), 0.03, since=LATER)
    closed(stood("Method 1", 0.08), method="0.9")
    stand(Adapter.objects.get(name="Method 1"), 0.079, since=LATER)
    withdraw_run(run_of(stood("Gone 1", 0.09)), by=editor, reason="A lead was loose.")
    closed(stood("Warm 1", 0.05))
    stand(Adapter.objects.get(name="Warm 1"), 0.05, since=LATER, apart="Too warm.")
    amended = closed(stood("Amended 1", 0.04))
    elsewhere = closed(stood("Elsewhere 1", 0.03))
    stand(Adapter.objects.get(name="Elsewhere 1"), 0.031, since=LATER)  # another record
    for value in (amended, elsewhere):
        Amendment.objects.create(
            run=run_of(value),
            at=LATER,
            reason="The other line.",
            before={},
            after={},
            identity=f"{value.pk:064}",
        )
    closed(stood("Lost 1", 0.11))
    first = closed(stood("Replaced 1", 0.12))
    stand(Adapter.objects.get(name="Replaced 1"), 0.13, since=LATER)
    Run.objects.filter(pk=run_of(first).pk).update(
        standing="withdrawn", withdrawn_at=LATER, withdrawn_reason="A lead was loose."
    )
    recomputed = closed(stood("Recomputed 1", 0.14))
    again = stand(Adapter.objects.get(name="Recomputed 1"), 0.141, since=LATER)
    Value.objects.filter(pk=again.pk).update(run=recomputed.run_id)

    found = changes()
    assert causes(found) == {
        "new": ["New 1"],
        "first": ["First 1"],
        "comparable": ["Cool 1"],
        "retest": ["Again 1"],
        "method": ["Method 1"],
        "corrected": ["Recomputed 1"],
        "replaced": ["Replaced 1"],
        "described": ["Elsewhere 1"],
        "withdrawn": ["Gone 1"],
        "apart": ["Warm 1"],
        "amended": ["Amended 1"],
        "gone": ["Lost 1"],
    }
    before, after = (
        ranks(ranking(STANDBY, HIGH_LINE, viewer=None, as_of=moment)) for moment in (SINCE, None)
    )
    for group in found.groups:
        for change in group.listed:
            name = change.adapter.name
            assert (change.before.rank if change.before else None) == before.get(name)
            assert (change.after.rank if change.after else None) == after.get(name)
    assert found.moved == (before["Steady 1"] != after["Steady 1"])


def test_a_catalogue_entry_that_changes_is_a_cause_of_its_own() -> None:
    metric = all_metrics()["power-density"]
    adapter = made("Solo 1")
    value = adapter.values.get(metric=metric.key)
    Value.objects.filter(pk=value.pk).update(current_until=LATER)
    value.pk, value.value, value.current_from = None, 2 * value.value, LATER
    value.save()
    Ledger.turn()
    found = ranking(metric, value.condition, viewer=None)
    assert causes(ranking_changes(found.cohort, since=SINCE, viewer=None)) == {
        "catalogue": ["Solo 1"]
    }


def test_a_measurement_in_the_place_of_a_table_is_told(editor: User) -> None:
    adapter = made("Solo 1")
    accepted_table(standby_table((adapter.slug, 0.08, 0.001)), by=editor)
    Value.objects.filter(table__isnull=False).update(current_from=LONG_AGO)
    Ledger.turn()
    assert causes(changes(tables=True)) == {}
    stand(adapter, 0.07, since=LATER)
    assert causes(changes(tables=True)) == {"measured": ["Solo 1"]}
    assert causes(changes()) == {"first": ["Solo 1"]}


def test_a_table_in_the_place_of_a_measurement_is_told(editor: User) -> None:
    adapter = made("Solo 1")
    closed(stand(adapter, 0.07, since=LONG_AGO))
    accepted_table(standby_table((adapter.slug, 0.08, 0.001)), by=editor)
    Ledger.turn()
    assert causes(changes(tables=True)) == {"filled": ["Solo 1"]}


def test_what_was_withdrawn_or_amended_later_was_neither_in_an_earlier_time() -> None:
    first = closed(stood("Solo 1", 0.05))
    stand(first.adapter, 0.04, since=LATER)
    Run.objects.filter(pk=run_of(first).pk).update(
        standing="withdrawn", withdrawn_at=timezone.now(), withdrawn_reason="A lead was loose."
    )
    second = closed(stood("Solo 2", 0.07))
    stand(second.adapter, 0.06, since=LATER)
    Amendment.objects.create(
        run=run_of(second), reason="The line.", before={}, after={}, identity="b" * 64
    )
    day_after = LATER + timedelta(days=1)
    assert causes(changes(as_of=day_after)) == {"retest": ["Solo 1", "Solo 2"]}
    assert causes(changes()) == {"replaced": ["Solo 1"], "described": ["Solo 2"]}


def test_a_later_table_in_the_place_of_an_earlier_is_told(editor: User) -> None:
    adapter = made("Solo 1")
    for value, since in ((0.08, LONG_AGO), (0.07, LATER)):
        Value.objects.filter(table__isnull=False).update(current_until=LATER)
        accepted_table(standby_table((adapter.slug, value, 0.001)), by=editor)
        Value.objects.filter(current_until=None, table__isnull=False).update(current_from=since)
    Ledger.turn()
    assert causes(changes(tables=True)) == {"table": ["Solo 1"]}


def test_a_value_that_was_closed_and_stands_again_as_it_was_is_no_change() -> None:
    value = closed(stood("Solo 1", 0.05))
    again = stand(Adapter.objects.get(name="Solo 1"), 0.05, since=LATER)
    Value.objects.filter(pk=again.pk).update(run=value.run_id)
    assert changes().groups == ()


def test_an_embargoed_adapter_shows_in_no_change() -> None:
    stood("Solo 1", 0.05)
    hidden = make_adapter("Secret 1", publish_on=datetime(2999, 1, 1, tzinfo=UTC).date())
    stand(hidden, 0.01, since=LATER)
    assert changes() == RankingChanges(groups=(), moved=0)


def test_filters_count_at_both_moments() -> None:
    closed(stand(made("Large 1", rated_power_w=140.0), 0.05, since=LONG_AGO))
    closed(stood("Solo 1", 0.06))
    stand(Adapter.objects.get(name="Solo 1"), 0.03, since=LATER)
    small = changes(filters=Filters(power_max=100.0))
    assert causes(small) == {"retest": ["Solo 1"]}
    before = small.groups[0].listed[0].before
    assert before is not None
    assert before.rank == 1


def test_changes_between_two_past_days_leave_out_what_came_later() -> None:
    value = stood("Solo 1", 0.05)
    Value.objects.filter(pk=value.pk).update(current_until=datetime(2026, 5, 1, tzinfo=UTC))
    stand(value.adapter, 0.04, since=datetime(2026, 5, 1, tzinfo=UTC))
    assert causes(changes(as_of=LATER)) == {}
    assert causes(changes()) == {"retest": ["Solo 1"]}


def test_the_page_tells_cause_ranks_and_method(client: Client) -> None:
    stood("Steady 1", 0.04)
    closed(stood("Again 1", 0.07))
    stand(Adapter.objects.get(name="Again 1"), 0.03, since=LATER)
    page = client.get("/rankings/no-load-power/?since=2026-02-28").content.decode()
    assert f"{CAUSES['retest']}: 1" in page
    assert "1 other kept its value and moved only because of these." in page
    assert "Changes" in page


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("since=2999-01-01", "Name a day before that of the ranking."),
        ("since=2026-03-01&as_of=2026-03-01", "Name a day before that of the ranking."),
        ("since=yesterday", "Write the date as 2026-11-24."),
    ],
)
def test_a_day_that_cannot_be_is_explained(client: Client, query: str, words: str) -> None:
    response = client.get(f"/rankings/no-load-power/?{query}")
    assert response.status_code == 400
    assert words in response.content.decode()


def test_changes_take_as_many_queries_for_thirty_adapters_as_for_three() -> None:
    counts = []
    for start, stop in ((0, 3), (3, 30)):
        for number in range(start, stop):
            stand(make_adapter(f"Solo {number}"), 0.05 + number / 1000, since=LATER)
        found = ranking(STANDBY, HIGH_LINE, viewer=None)
        with CaptureQueriesContext(connection) as captured:
            told = ranking_changes(found.cohort, since=SINCE, viewer=None)
        assert told.groups[0].count == stop
        counts.append(len(captured))
    assert counts[0] == counts[1]
