"""Rankings with and without results of tables: arithmetic, switch, marks, time."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient
from scipy import stats

from catalog.models import Adapter
from comparisons.actions import save_comparison
from comparisons.models import Comparison
from comparisons.queries.placements import placements
from comparisons.queries.rankings import Ranking, ranking
from comparisons.ranking import clear_best, near_ties
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.models import Ledger, Value
from measurements.result_tables import withdraw_table
from tests.comparisons.populations import standby_population
from tests.comparisons.publishing import published_as_read
from tests.factories.catalog import make_adapter
from tests.factories.result_tables import accepted_table, standby_table

pytestmark = pytest.mark.django_db

STANDBY = all_metrics()["no-load-power"]
HIGH = Condition(line="high")
PAGE = "/rankings/no-load-power/"
API = "/api/v1/rankings/no-load-power/"
MARK = "from a table, no raw record"
MEASURED = {"Solo 1": 0.05, "Solo 2": 0.08}
OLD = {"northfold-old-1": (0.03, 0.001), "northfold-old-2": (0.0805, None)}


@pytest.fixture
def mixed(editor: User) -> dict[str, Adapter]:
    """Two measured adapters, two known from a table; one measured adapter stands there too."""
    adapters = standby_population(MEASURED)
    adapters |= {name: make_adapter(name) for name in ("Old 1", "Old 2")}
    rows = [(slug, value, spread) for slug, (value, spread) in OLD.items()]
    accepted_table(standby_table(*rows, ("northfold-solo-1", 0.01, 0.001)), by=editor)
    return adapters


def ranked(**asked: Any) -> Ranking:
    return ranking(STANDBY, HIGH, viewer=None, **asked)


def test_places_with_and_without_tables_agree_with_scipy(mixed: dict[str, Adapter]) -> None:
    # Reference: scipy.stats.rankdata(method="min") and percentileofscore(kind="mean").
    old = {slug: value for slug, (value, _) in OLD.items()}
    measured = {mixed[name].slug: value for name, value in MEASURED.items()}
    for tables, expected in ((False, measured), (True, measured | old)):
        rows = ranked(tables=tables).rows
        values = np.array([row.value for row in rows])
        assert {row.adapter.slug: row.value for row in rows} == expected
        assert [row.rank for row in rows] == stats.rankdata(values, method="min").tolist()
        shares = [100 - stats.percentileofscore(values, value, kind="mean") for value in values]
        assert [row.percentile for row in rows] == pytest.approx(shares)
        assert ranked(tables=tables).of_tables == 2


def test_a_result_of_a_table_never_takes_the_place_of_a_measured_one(
    mixed: dict[str, Adapter],
) -> None:
    (place,) = [
        row
        for row in placements(mixed["Solo 1"], viewer=None, tables=True)
        if row.rank and row.metric is STANDBY
    ]
    assert (place.value, place.source, place.rank) == (0.05, "run", 2)
    Value.objects.filter(adapter=mixed["Solo 1"], table=None, metric=STANDBY.key).update(
        apart="The mains was not held."
    )
    Ledger.turn()
    # Also one that is set apart is measured: no ready-made number jumps over its reason.
    assert mixed["Solo 1"].pk not in ranked(tables=True).cohort.adapter_ids


def test_an_unknown_uncertainty_claims_neither_a_tie_nor_a_difference(
    mixed: dict[str, Adapter],
) -> None:
    by_slug = {row.adapter.slug: row for row in ranked(tables=True).rows}
    row = by_slug["northfold-old-2"]  # 0.5 mW from a neighbour, U of both sides unknown
    assert (row.standard_uncertainty, row.near_tie_count, row.joined) == (None, 0, "")
    assert by_slug["northfold-solo-2"].near_ties == ()
    values, spreads = np.array([1.0, 1.0, 9.0]), np.array([0.1, np.nan, 0.1])
    assert near_ties(values, spreads, position=0).tolist() == []
    assert clear_best(values, spreads, better="higher") is None


def test_the_past_counts_tables_as_they_stood(mixed: dict[str, Adapter], editor: User) -> None:
    then = timezone.now() - timedelta(days=10)
    Value.objects.update(current_from=then - timedelta(days=1))
    table = Value.objects.of_tables()[0].table
    assert table is not None
    withdraw_table(table, by=editor, reason="Its origin is in doubt.")
    assert len(ranked(tables=True).rows) == 2
    assert len(ranked(tables=True, as_of=then).rows) == 4
    assert len(ranked(as_of=then).rows) == 2
    assert len(ranked(tables=True, as_of=then - timedelta(days=5)).rows) == 0


def test_page_csv_and_api_agree_and_mark(client: Client, mixed: dict[str, Adapter]) -> None:
    for query, count in (("", 2), ("?tables=out", 2), ("?tables=in", 4)):
        page = client.get(PAGE + query)
        of_page = [(item.row.rank, item.row.adapter.slug) for item in page.context["rows"]]
        text = client.get(f"{PAGE.rstrip('/')}.csv{query}").content.decode()
        of_csv = list(csv.DictReader(io.StringIO(text)))
        of_api = APIClient().get(API + query).json()
        assert len(of_page) == count
        assert of_page == [(int(row["rank"]), row["adapter"]) for row in of_csv]
        assert of_page == [(row["rank"], row["adapter"]) for row in of_api["results"]]
        assert [row["source"] for row in of_csv] == [row["source"] for row in of_api["results"]]
        assert of_api["of_tables"] == 2
        assert (MARK in page.content.decode()) is (count == 4)
    last = of_api["results"][-1]
    assert (last["source"], last["standard_uncertainty"], last["run"]) == ("table", None, None)
    assert of_csv[-1]["expanded_uncertainty_k2"] == ""
    assert f"/tables/{last['table']}/" in page.content.decode()
    assert "U not stated" in page.content.decode()
    assert "tables=in" in page.context["form"].as_api_query


def test_what_is_left_out_is_said_with_the_way_in(
    client: Client, mixed: dict[str, Adapter]
) -> None:
    left = client.get(PAGE).content.decode()
    assert "2 results from tables (no raw record) left out" in left
    assert '?tables=in">count them in</a>' in left
    page = client.get("/adapters/northfold-old-1/")
    assert "left out" in page.content.decode()
    assert not page.context["page"].headlines
    counted = client.get("/adapters/northfold-old-1/?tables=in")
    assert counted.context["page"].headlines[0].placement.source == "table"
    assert MARK in counted.content.decode()
    assert "On this bench" not in counted.content.decode()


def test_a_metric_known_from_tables_alone_says_so(client: Client, editor: User) -> None:
    make_adapter("Old 1")
    accepted_table(standby_table(("northfold-old-1", 0.03, None)), by=editor)
    assert "1 result from tables" in client.get(PAGE).content.decode()
    assert client.get(f"{PAGE}?tables=in").status_code == 200
    assert APIClient().get(API).json()["of_tables"] == 1


def test_the_site_may_count_them_by_default(
    client: Client, mixed: dict[str, Adapter], settings: Settings
) -> None:
    settings.COUNT_TABLES = True
    assert len(client.get(PAGE).context["rows"]) == 4
    assert len(APIClient().get(API).json()["results"]) == 4
    left = client.get(f"{PAGE}?tables=out")
    assert len(left.context["rows"]) == 2
    assert "tables=out" in left.context["form"].as_api_query
    assert MARK in client.get("/").content.decode()


def test_values_and_placements_take_the_switch(mixed: dict[str, Adapter]) -> None:
    api = APIClient()
    address = "/api/v1/values/?metric=no-load-power"
    assert len(api.get(address).json()["results"]) == 2
    found = api.get(f"{address}&tables=in").json()["results"]
    assert sorted(row["source"] for row in found) == ["run", "run", "table", "table"]
    places = "/api/v1/adapters/northfold-old-1/placements/"
    metrics = [row["metric"] for row in api.get(f"{places}?tables=in").json()["results"]]
    assert "no-load-power" in metrics
    assert "no-load-power" not in [row["metric"] for row in api.get(places).json()["results"]]
    assert api.get(f"{API}?tables=perhaps").status_code == 400


def test_a_comparison_counts_tables_only_when_told_and_freezes_the_mark(
    client: Client, mixed: dict[str, Adapter], editor: User
) -> None:
    def published(**facts: Any) -> Comparison:
        draft = save_comparison(
            Comparison(title="Standby", **facts),
            adapters=list(mixed.values()),
            metrics=["no-load-power"],
            conditions={},
            by=editor,
        )
        return published_as_read(draft, by=editor)

    without, comparison = published(), published(with_tables=True)
    assert without.frozen is not None
    assert comparison.frozen is not None
    assert without.frozen["rows"][0]["cells"][2:] == [None, None]
    cells = comparison.frozen["rows"][0]["cells"]
    assert [cell["source"] for cell in cells] == ["run", "run", "table", "table"]
    assert cells[3]["standard_uncertainty"] is None
    assert not any(cell["best"] for cell in cells)  # one of them cannot be told
    assert MARK in client.get(comparison.get_absolute_url()).content.decode()
    text = client.get(f"/comparisons/{comparison.slug}.csv").content.decode()
    assert [row["source"] for row in csv.DictReader(io.StringIO(text))][3] == "table"
