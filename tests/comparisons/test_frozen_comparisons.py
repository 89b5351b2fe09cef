"""What a published comparison keeps, and what it says of all that came after it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any
from unittest.mock import patch

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalog.models import Adapter
from comparisons.actions import (
    canonical_json,
    hash_of,
    publish_comparison,
    revise_comparison,
    save_comparison,
)
from comparisons.models import Comparison
from comparisons.queries import drift as drift_module
from comparisons.queries.contents import groups_of
from comparisons.queries.drift import drift_of
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.models import Ledger, Run, Value
from tests.comparisons.populations import HIGH_LINE, stand, standby_population
from tests.comparisons.publishing import published_as_read
from tests.comparisons.test_comparison_pages import table_of
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

LATER = 1000


@pytest.fixture
def pair() -> dict[str, Adapter]:
    return standby_population({"Solo 1": 0.05, "Solo 2": 0.06})


def published(pair: dict[str, Adapter], *, by: User, **facts: Any) -> Comparison:
    draft = save_comparison(
        Comparison(title="Two solos", notes="Same bench.", **facts),
        adapters=list(pair.values()),
        metrics=["no-load-power", "power-density"],
        conditions={},
        by=by,
    )
    return published_as_read(draft, by=by)


def supersede(value: Value, number: float) -> None:
    """Another accepted run in the place of the value's."""
    value.current_until = timezone.now()
    value.save()
    stand(value.adapter, number)


def measured_anew(adapters: list[Adapter], *, times: int) -> None:
    """So many accepted runs one after the other, the last of which stands."""
    runs, values = [], []
    start = timezone.now()
    for adapter in adapters:
        first = Run.objects.filter(adapter=adapter).order_by("pk").first()
        assert first is not None
        Value.objects.filter(adapter=adapter, metric="no-load-power").update(current_until=start)
        count = times // len(adapters)
        for number in range(count):
            begun = start + timedelta(seconds=number)
            run = Run(
                adapter=adapter,
                unit=first.unit,
                kind="no-load",
                raw=first.raw,
                file_name="log.csv",
                mains_v=230.0,
                line="high",
                state=Run.State.READY,
                standing=Run.Standing.ACCEPTED,
                accepted_at=begun,
            )
            run.identity = run.pk.hex
            runs.append(run)
            values.append(
                Value(
                    adapter=adapter,
                    run=run,
                    metric="no-load-power",
                    condition_key=HIGH_LINE.key,
                    line="high",
                    value=0.1 + number / 10_000,
                    standard_uncertainty=0.0005,
                    method="1.1",
                    current_from=begun,
                    current_until=None if number == count - 1 else begun + timedelta(seconds=1),
                )
            )
    Run.objects.bulk_create(runs)
    Value.objects.bulk_create(values)
    Ledger.turn()


def test_a_thousand_later_runs_and_another_method_change_no_byte(
    client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    comparison = published(pair, by=editor)
    address = comparison.get_absolute_url()
    files = [f"/comparisons/two-solos{form}" for form in (".csv", ".md", "/table.svg", "/embed/")]
    table, said = table_of(client.get(address).content), comparison.frozen
    kept = {file: client.get(file).content for file in files}
    answer = client.get("/api/v1/comparisons/two-solos/").content

    measured_anew(list(pair.values()), times=LATER)
    later = replace(all_metrics()["no-load-power"], method="1.1", title="Renamed", decimals=1)
    with patch.dict(all_metrics(), {"no-load-power": later}):
        assert Run.objects.filter(kind="no-load").count() == LATER + len(pair)
        page = client.get(address).content
        assert table_of(page) == table
        assert {file: client.get(file).content for file in files} == kept
        assert client.get("/api/v1/comparisons/two-solos/").content == answer
        # Numbers that stand now are told beside the table, not in it.
        assert b"2 values are newer than this table." in page
        assert b"is computed by method 1.1 now; this table holds 1.0." in page
    comparison.refresh_from_db()
    assert comparison.frozen == said
    assert hash_of(comparison.frozen) == comparison.frozen_hash


def test_numbers_are_frozen_as_every_database_gives_them_back(
    editor: User, pair: dict[str, Adapter]
) -> None:
    # PostgreSQL 15, 8.14: jsonb keeps numbers as numeric, which has no zero below zero and
    # writes 1e16 as 10000000000000000; in both the hash would be another after reading.
    drawn = {"key": "charges:x", "lines": [{"x": [1e16, 5.0], "y": [-0.0, None]}]}
    with patch("comparisons.queries.contents.blocks_of", lambda *_, **__: [drawn]):
        comparison = published(pair, by=editor)
    assert comparison.frozen is not None
    text = canonical_json(comparison.frozen)
    assert '"x":[10000000000000000,5.0],"y":[0.0,null]' in text
    assert hash_of(comparison.frozen) == comparison.frozen_hash


def test_a_table_that_is_up_to_date_says_nothing_of_newer_values(
    client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    comparison = published(pair, by=editor)
    assert drift_of(comparison) == drift_module.Drift((), ())
    assert "newer than this table" not in client.get(comparison.get_absolute_url()).content.decode()


def test_each_newer_value_is_named_with_both_numbers(
    client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    pair["New 3"] = make_adapter("New 3")
    comparison = published(pair, by=editor)
    supersede(Value.objects.get(adapter=pair["Solo 1"], metric="no-load-power"), 0.07)
    Value.objects.filter(adapter=pair["Solo 2"], metric="no-load-power").update(
        current_until=timezone.now()
    )
    stand(pair["New 3"], 0.03)
    found = {item.adapter: (item.was, item.now) for item in drift_of(comparison).cells}
    assert found == {
        "Northfold Solo 1": (0.05, 0.07),
        "Northfold Solo 2": (0.06, None),
        "Northfold New 3": (None, 0.03),
    }
    page = client.get(comparison.get_absolute_url()).content.decode()
    assert "3 values are newer than this table." in page
    assert "no value stands now" in page


def test_a_value_under_another_condition_than_those_of_the_table_is_newer_too(
    editor: User, pair: dict[str, Adapter]
) -> None:
    wide, narrow = (
        published(pair, by=editor),
        published(
            pair,
            by=editor,
            metric_conditions=[{"metric": "no-load-power", "conditions": {"line": "high"}}],
        ),
    )
    stand(pair["Solo 1"], 0.04, condition=Condition(line="low"))
    assert [item.condition for item in drift_of(wide).cells] == ["115 V mains"]
    assert drift_of(narrow).cells == ()


def test_what_went_back_under_embargo_is_not_told_of(
    editor: User, pair: dict[str, Adapter]
) -> None:
    comparison = published(pair, by=editor)
    supersede(Value.objects.get(adapter=pair["Solo 1"], metric="no-load-power"), 0.07)
    Adapter.objects.filter(pk=pair["Solo 1"].pk).update(
        publish_on=timezone.now().date() + timedelta(days=9)
    )
    assert drift_of(comparison).cells == ()


def test_telling_what_is_newer_takes_two_queries_however_large_the_table(editor: User) -> None:
    for count in (2, 9):
        names = {f"Solo {count} {number}": 0.05 + number / 100 for number in range(count)}
        comparison = published(standby_population(names), by=editor)
        with CaptureQueriesContext(connection) as captured:
            drift_of(comparison)
        assert len(captured) == 2


def test_a_table_frozen_by_an_earlier_release_is_shown_and_keeps_its_hash(
    client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    comparison = published(pair, by=editor)
    assert comparison.frozen is not None
    known = {"title", "notes", "published_at", "coverage_factor", "adapters", "rows"}
    old = {name: comparison.frozen[name] for name in known}
    old["adapters"] = [
        {name: part for name, part in item.items() if name != "group"} for item in old["adapters"]
    ]
    old["rows"] = [
        {name: part for name, part in row.items() if name != "remarks"} for row in old["rows"]
    ]
    # Not even where a value is from was written down at first.
    for row in old["rows"]:
        for cell in row["cells"]:
            del cell["source"], cell["table"]
    comparison.frozen, comparison.frozen_hash = old, hash_of(old)
    comparison.save()
    page = client.get(comparison.get_absolute_url()).content.decode()
    assert "0.0500" in page
    assert "Same bench." in page
    assert "“Best” stands only where" in page
    assert "newer than this table" not in page
    for form in (".csv", ".xlsx", ".md", "/table.svg", "/embed/"):
        assert client.get(f"/comparisons/two-solos{form}").status_code == 200
    comparison.refresh_from_db()
    assert hash_of(comparison.frozen) == comparison.frozen_hash
    assert revise_comparison(comparison, by=editor).blocks == []


def test_a_revision_takes_over_all_that_was_said(editor: User, pair: dict[str, Adapter]) -> None:
    slug = pair["Solo 1"].slug
    draft = save_comparison(
        Comparison(
            title="Two solos",
            cell_notes=[{"adapter": slug, "metric": "no-load-power", "text": "Twice."}],
            metric_conditions=[{"metric": "no-load-power", "conditions": {"line": "high"}}],
            blocks=["sharing:high"],
        ),
        adapters=list(pair.values()),
        metrics=["no-load-power"],
        conditions={},
        groups={slug: "At home"},
        by=editor,
    )
    first = publish_comparison(draft, by=editor)
    revision = revise_comparison(first, by=editor)
    for name in ("cell_notes", "metric_conditions", "blocks", "metrics", "notes"):
        assert getattr(revision, name) == getattr(first, name)
    assert groups_of(revision) == {slug: "At home"}
