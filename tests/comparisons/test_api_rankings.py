"""Rankings and placements over HTTP."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from catalog.models import Adapter
from measurements.actions import withdraw_run
from measurements.models import Ledger, Run, Value
from tests.factories.api import assert_problem, client_of, faulty_fields, walk
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log
from tests.factories.rankings import four_ranked, standing_value

pytestmark = pytest.mark.django_db

RANKING = "/api/v1/rankings/no-load-power/"


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


@pytest.fixture
def writer(editor: User) -> APIClient:
    return client_of(editor)


@pytest.fixture
def four() -> list[Adapter]:
    return four_ranked()


def test_a_ranking_has_the_contracts_shape(anyone: APIClient, four: list[Adapter]) -> None:
    content = anyone.get(f"{RANKING}?line=high").json()
    assert content["metric"]["key"] == "no-load-power"
    assert content["condition"] == {"line": "high"}
    # Quartiles at p(N + 1), NIST/SEMATECH e-Handbook 7.2.6.2: of 0.05 0.1 0.1 0.3 the first
    # stands at 1.25, the median at 2.5, the third at 3.75.
    assert content["cohort"]["count"] == 4
    assert content["cohort"]["median"] == pytest.approx(0.1)
    assert content["cohort"]["quartiles"] == pytest.approx([0.0625, 0.1, 0.25])
    rows = content["results"]
    # Competition rank, and scipy.stats.percentileofscore(kind="mean") turned round.
    assert [row["rank"] for row in rows] == [1, 2, 2, 4]
    assert [row["percentile"] for row in rows] == [87.5, 50.0, 50.0, 12.5]
    assert [row["adapter"] for row in rows] == [
        "northfold-solo-30",
        "northfold-solo-45",
        "northfold-solo-65",
        "northfold-duo-100",
    ]
    assert [row["near_ties"] for row in rows] == [
        [],
        ["northfold-solo-65"],
        ["northfold-solo-45"],
        [],
    ]
    assert rows[0]["value"] == 0.05
    assert rows[0]["standard_uncertainty"] == 0.001
    assert content["next"] is None


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("power_min=45", ["solo-45", "solo-65", "duo-100"]),
        ("power_min=45&power_max=65", ["solo-45", "solo-65"]),
        ("ports_min=2", ["duo-100"]),
        ("maker=northfold&power_max=30", ["solo-30"]),
        ("line=low", []),
        ("output_v=20", []),
        ("as_of=2020-01-01", []),
    ],
)
def test_filters_make_another_cohort(
    anyone: APIClient, four: list[Adapter], query: str, names: list[str]
) -> None:
    content = anyone.get(f"{RANKING}?{query}").json()
    assert [row["adapter"] for row in content["results"]] == [f"northfold-{n}" for n in names]
    assert content["cohort"]["count"] == len(names)
    if names:
        assert content["results"][0]["rank"] == 1


def test_a_metric_without_values_has_an_empty_cohort(anyone: APIClient) -> None:
    content = anyone.get(f"{RANKING}?line=high").json()
    assert content["cohort"] == {"count": 0, "median": None, "quartiles": None}
    assert (content["results"], content["not_comparable"], content["next"]) == ([], [], None)
    assert content["condition"] == {"line": "high"}


@pytest.mark.parametrize("metric", ["no-such-metric", "time-constant", "x" * 5000])
def test_what_is_not_ranked_has_no_ranking(anyone: APIClient, metric: str) -> None:
    detail = assert_problem(anyone.get(f"/api/v1/rankings/{metric}/"), 404)["detail"]
    assert ("not ranked" in detail) == (metric == "time-constant")


@pytest.mark.parametrize(
    "query", ["line=230", "power_min=x", "ports_min=1.5", "maker=nobody", "as_of=x", "lime=high"]
)
def test_a_filter_that_is_not_understood_is_refused(anyone: APIClient, query: str) -> None:
    assert faulty_fields(anyone.get(f"{RANKING}?{query}")) == {query.split("=", maxsplit=1)[0]}


def test_values_that_are_not_comparable_stand_apart(anyone: APIClient, four: list[Adapter]) -> None:
    standing_value(make_adapter("Odd"), 0.001, apart="The mains voltage was not held.")
    content = anyone.get(f"{RANKING}?line=high").json()
    assert content["cohort"]["count"] == 4
    (row,) = content["not_comparable"]
    assert (row["adapter"], row["reason"]) == ("northfold-odd", "The mains voltage was not held.")


def test_a_walk_sees_one_moment_while_values_change(anyone: APIClient, four: list[Adapter]) -> None:
    whole = [row["adapter"] for row in anyone.get(RANKING).json()["results"]]
    seen: list[str] = []
    for count, row in enumerate(walk(anyone, f"{RANKING}?limit=1")):
        seen.append(row["adapter"])
        standing_value(make_adapter(f"Later {count}"), 0.001 * (count + 1))
    assert seen == whole
    assert anyone.get(RANKING).json()["cohort"]["count"] == 8


def test_a_ranking_that_has_not_changed_is_not_sent_again(
    anyone: APIClient, four: list[Adapter]
) -> None:
    address = f"{RANKING}?limit=2"
    tag = anyone.get(address)["ETag"]
    assert anyone.get(address, headers={"If-None-Match": tag}).status_code == 304
    standing_value(make_adapter("Later"), 0.2)
    assert anyone.get(address, headers={"If-None-Match": tag}).status_code == 200


def test_a_cursor_of_one_ranking_does_not_open_another(
    anyone: APIClient, four: list[Adapter]
) -> None:
    following = anyone.get(f"{RANKING}?limit=1").json()["next"]
    cursor = following.split("after=")[1]
    other = anyone.get(f"{RANKING}?limit=1&line=high&after={cursor}")
    assert faulty_fields(other) == {"after"}
    other = anyone.get(f"/api/v1/rankings/surface-temperature/?after={cursor}")
    assert faulty_fields(other) == {"after"}


def test_a_past_ranking_is_that_of_its_day(anyone: APIClient, editor: User) -> None:
    adapter = make_adapter()
    run = accepted(adapter, no_load_log(0.05), by=editor)
    Value.objects.filter(run=run).update(current_from="2026-01-10T12:00:00Z")
    withdraw_run(Run.objects.get(pk=run.pk), by=editor, reason="The meter was faulty.")

    def count(query: str) -> int:
        return int(anyone.get(f"{RANKING}{query}").json()["cohort"]["count"])

    assert count("?as_of=2026-01-09") == 0
    assert count("?as_of=2026-01-10") == 1
    assert count("?as_of=2026-01-10T11:59:59Z") == 0
    assert count("?as_of=2026-01-10T13:00:00%2B01:00") == 1
    assert count("") == 0


def test_embargoed_adapters_are_in_no_count_for_readers(
    anyone: APIClient, writer: APIClient, four: list[Adapter]
) -> None:
    tomorrow = timezone.now().date() + timedelta(days=1)
    Adapter.objects.filter(pk=four[0].pk).update(publish_on=tomorrow)
    Ledger.turn()
    for client, count in ((anyone, 3), (writer, 4)):
        content = client.get(RANKING).json()
        assert content["cohort"]["count"] == len(content["results"]) == count
    slug = four[0].slug
    for address in (RANKING, "/api/v1/values/?metric=no-load-power"):
        assert slug not in anyone.get(address).content.decode()
    (place,) = _places(anyone, four[1])
    assert (place["rank"], place["count"]) == (1, 3)
    (place,) = _places(writer, four[1])
    assert (place["rank"], place["count"]) == (2, 4)


def _places(client: APIClient, adapter: Adapter) -> list[dict[str, Any]]:
    rows = walk(client, f"/api/v1/adapters/{adapter.slug}/placements/")
    return [row for row in rows if row["metric"] == "no-load-power"]


def test_a_placement_agrees_with_the_ranking(anyone: APIClient, four: list[Adapter]) -> None:
    ranked = {row["adapter"]: row for row in walk(anyone, RANKING)}
    for adapter in four:
        (place,) = _places(anyone, adapter)
        row = ranked[adapter.slug]
        assert place["condition"] == {"line": "high"}
        assert place["count"] == 4
        for part in ("rank", "percentile", "value", "standard_uncertainty", "near_tie_count"):
            assert place[part] == row[part]


def test_a_value_without_a_place_says_why(anyone: APIClient) -> None:
    adapter = make_adapter()
    standing_value(adapter, 0.1, apart="The mains voltage was not held.")
    (place,) = _places(anyone, adapter)
    assert (place["rank"], place["percentile"], place["count"]) == (None, None, 0)
    assert place["not_comparable"] == "The mains voltage was not held."


def test_a_ranking_takes_the_same_queries_for_3_and_for_30_adapters(
    anyone: APIClient, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(30):
        standing_value(make_adapter(f"Solo {number}"), 0.1 + number)
        if number in (2, 29):
            # Last change, conditions, cohort, adapters, runs, what stands apart, how many results
            # of tables are left out; the ledger's stamp before each of the two remembered.
            with django_assert_num_queries(9):
                anyone.get(RANKING)
            with django_assert_num_queries(7):
                anyone.get(RANKING)
