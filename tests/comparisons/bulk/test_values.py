"""Downloads of values and of their history: the same rows as the lists, for the same readers."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from measurements import processing
from measurements.actions import RunFacts, accept_run, amend_run, withdraw_run
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.models import Value
from measurements.result_tables import withdraw_table
from tests.comparisons.bulk.reading import BULK, content_of, csv_rows, downloaded, parquet_rows
from tests.comparisons.populations import stand
from tests.factories.api import client_of, faulty_fields, walk
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, efficiency_log, no_load_log, ready
from tests.factories.result_tables import accepted_table, standby_table

pytestmark = pytest.mark.django_db

PARTS = ("line", "output_v", "load", "load_percent", "device", "sensor", "port")


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


@pytest.fixture
def bench(editor: User) -> None:
    """Measured values, one set apart, a table, an embargoed adapter, a run that waits."""
    solo = make_adapter("Solo 65")
    accepted(solo, no_load_log(0.05), by=editor)
    accepted(solo, efficiency_log(5.0, 20.0), kind="efficiency", by=editor)
    ready(make_adapter("Solo 45"), no_load_log(0.07))
    late = timezone.now().date() + timedelta(days=9)
    stand(make_adapter("Duo 100", publish_on=late), 0.2)
    stand(make_adapter("Duo 65"), 0.3, apart="Measured with a warm adapter, “hot”.")
    stand(make_adapter("Trio 65"), 0.1, condition=Condition(line="low", sensor="=top"))
    make_adapter("Mini 20")
    accepted_table(
        standby_table(("northfold-mini-20", 0.04, None), ("northfold-solo-65", 0.09, 0.01)),
        by=editor,
    )


def listed(client: APIClient, query: str) -> list[dict[str, Any]]:
    """The rows of the list call in the shape of a download."""
    rows = []
    for row in walk(client, f"/api/v1/values/?{query}"):
        condition = row.pop("condition")
        at = datetime.fromisoformat(row.pop("current_from"))
        parts = {part: condition.get(part) for part in PARTS}
        rows.append({**row, **parts, "current_from": f"{at:%Y-%m-%dT%H:%M:%S.%fZ}"})
    return rows


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize(
    "query",
    [
        "",
        "tables=in",
        "tables=in&metric=no-load-power",
        "line=high&metric=average-efficiency&output_v=20",
        "adapter=northfold-solo-65",
        "sensor==top",
        "device=slate",
    ],
)
@pytest.mark.parametrize("role", ["", "editor"])
def test_a_download_has_the_rows_of_the_list(
    query: str, role: str, person: Callable[[str], User]
) -> None:
    client = client_of(person(role) if role else None)
    rows = downloaded(client, "values", query)
    assert rows == listed(client, query)
    assert bool(rows) is (query != "device=slate")


@pytest.mark.usefixtures("bench")
def test_the_three_forms_say_the_same(anyone: APIClient) -> None:
    rows = downloaded(anyone, "values", "tables=in")
    as_csv = csv_rows(content_of(anyone.get(f"{BULK}/values/?tables=in")))
    as_parquet = parquet_rows(content_of(anyone.get(f"{BULK}/values/?tables=in&as=parquet")))
    assert len(rows) == len(as_csv) == len(as_parquet) > 10
    for row, cells, typed in zip(rows, as_csv, as_parquet, strict=True):
        at = typed.pop("current_from")
        assert typed == {name: row[name] for name in row if name != "current_from"}
        assert f"{at:%Y-%m-%dT%H:%M:%S.%fZ}" == row["current_from"]
        for name, cell in cells.items():
            if isinstance(row[name], float):
                assert float(cell) == row[name]
            else:
                assert cell == ("'=top" if row[name] == "=top" else row[name] or "")


@pytest.mark.usefixtures("bench")
def test_a_download_is_one_query_however_many_rows(
    anyone: APIClient, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(2):  # the stamp, and the rows
        assert content_of(anyone.get(f"{BULK}/values/"))
    with django_assert_num_queries(2):
        assert content_of(anyone.get(f"{BULK}/history/?as=parquet"))


def test_values_of_a_time_without_microseconds_have_the_same_form(anyone: APIClient) -> None:
    at = timezone.now().replace(year=2026, month=11, day=24, hour=1, minute=2, second=3)
    stand(make_adapter(), 0.1, since=at.replace(microsecond=0))
    stand(make_adapter("Solo 30"), 0.1, since=at.replace(microsecond=45))
    rows = downloaded(anyone, "values", "metric=no-load-power")
    assert [row["current_from"] for row in rows] == [
        "2026-11-24T01:02:03.000000Z",
        "2026-11-24T01:02:03.000045Z",
    ]


def test_a_unit_stands_beside_every_value(anyone: APIClient) -> None:
    stand(make_adapter(), 0.1)
    stand(make_adapter("Solo 30"), 0.1, metric="charge-stages")
    Value.objects.filter(metric="charge-stages").update(metric="of-a-kind-that-went")
    units = {row["metric"]: row["unit"] for row in downloaded(anyone, "values")}
    assert units.pop("of-a-kind-that-went") is None
    assert units == {key: all_metrics()[key].unit for key in units}


def test_history_tells_from_when_to_when_a_value_stood(anyone: APIClient, editor: User) -> None:
    solo = make_adapter()
    first = accepted(solo, no_load_log(0.05), by=editor)
    second = accepted(solo, no_load_log(0.06), by=editor)
    query = "metric=no-load-power&line=high"
    old, new = downloaded(anyone, "history", query)
    assert (old["run"], new["run"]) == (str(first.pk), str(second.pk))
    assert old["current_until"] == new["current_from"]
    assert new["current_until"] is None
    assert not old["taken_back"]
    assert not new["taken_back"]
    before = second.accepted_at - timedelta(microseconds=1)  # type: ignore[operator]
    (then,) = downloaded(anyone, "history", f"{query}&as_of={before:%Y-%m-%dT%H:%M:%S.%fZ}")
    assert then == old
    since = f"updated_since={second.accepted_at:%Y-%m-%dT%H:%M:%S.%fZ}"
    assert downloaded(anyone, "history", f"{query}&{since}") == [old, new]
    later = second.accepted_at + timedelta(microseconds=1)  # type: ignore[operator]
    assert (
        downloaded(anyone, "history", f"{query}&updated_since={later:%Y-%m-%dT%H:%M:%S.%fZ}") == []
    )
    assert downloaded(anyone, "values", f"{query}&{since}") == without(new)


def without(row: dict[str, Any]) -> list[dict[str, Any]]:
    """The row as the download of today's values has it."""
    return [{name: row[name] for name in row if name not in ("current_until", "taken_back")}]


def test_history_keeps_a_withdrawn_run_and_never_had_one_that_waits(
    anyone: APIClient, editor: User
) -> None:
    run = accepted(make_adapter(), by=editor)
    ready(make_adapter("Solo 45"))
    withdraw_run(run, by=editor, reason="Wrong lead.")
    (row,) = downloaded(anyone, "history", "metric=no-load-power")
    assert row["run"] == str(run.pk)
    assert row["current_until"] is not None
    assert downloaded(anyone, "values", "metric=no-load-power") == []


def test_history_leaves_out_a_run_that_waits_after_an_amendment(
    anyone: APIClient, editor: User
) -> None:
    adapter = make_adapter()
    run = accepted(adapter, by=editor)
    facts = RunFacts(adapter=adapter, kind="no-load", mains_v=115.0)
    run = amend_run(run, facts, by=editor, reason="It was 115 V.", seen=0)
    assert downloaded(anyone, "history", "metric=no-load-power") == []
    assert downloaded(client_of(editor), "history", "metric=no-load-power") == []
    processing.compute(run.pk)
    run.refresh_from_db()
    accept_run(run, by=editor)
    wrong, right = downloaded(anyone, "history", "metric=no-load-power")
    assert (wrong["line"], wrong["taken_back"]) == ("high", True)
    assert (right["line"], right["taken_back"]) == ("low", False)


def test_history_leaves_out_tables_that_were_withdrawn(anyone: APIClient, editor: User) -> None:
    make_adapter("Mini 20")
    table = accepted_table(standby_table(("northfold-mini-20", 0.04, None)), by=editor)
    query = "metric=no-load-power&tables=in"
    (row,) = downloaded(anyone, "history", query)
    assert (row["source"], row["table"], row["standard_uncertainty"]) == (
        "table",
        str(table.pk),
        None,
    )
    assert downloaded(anyone, "history", "metric=no-load-power&tables=out") == []
    withdraw_table(table, by=editor, reason="Another bench's mistake.")
    assert downloaded(anyone, "history", query) == []


def test_an_embargo_hides_the_history_from_the_public_only(anyone: APIClient, editor: User) -> None:
    late = timezone.now().date() + timedelta(days=9)
    stand(make_adapter(publish_on=late), 0.2)
    assert downloaded(anyone, "history") == []
    assert downloaded(client_of(editor), "history", "metric=no-load-power")


@pytest.mark.parametrize("table", ["values", "history"])
@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("as=xlsx", "as"),
        ("metric=horsepower", "metric"),
        ("adapter=nothing-here", "adapter"),
        ("line=middle", "line"),
        ("limit=5", "limit"),
        ("updated_since=yesterday", "updated_since"),
        ("tables=maybe", "tables"),
    ],
)
def test_what_is_not_understood_is_refused(
    anyone: APIClient, table: str, query: str, field: str
) -> None:
    assert faulty_fields(anyone.get(f"{BULK}/{table}/?{query}")) == {field}
