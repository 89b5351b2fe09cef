"""Two metrics against each other: the front, who is in it, page and file."""

from __future__ import annotations

import csv
import gzip
import io
import re
from datetime import timedelta

import numpy as np
import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from comparisons.queries.pairs import Axis, Pair, front, pair
from comparisons.queries.rankings import ranking
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from tests.comparisons.populations import HIGH_LINE, stand
from tests.factories.catalog import make_adapter

STANDBY = Axis(all_metrics()["no-load-power"], HIGH_LINE)
HEADROOM = Axis(all_metrics()["thermal-headroom"], HIGH_LINE)
PAGE = "/rankings/pair/?x=no-load-power&y=thermal-headroom"

_coordinates = st.integers(-6, 6).map(float)


def both(name: str, watts: float, kelvin: float, **facts: object) -> None:
    adapter = make_adapter(name, **facts)  # type: ignore[arg-type]
    stand(adapter, watts)
    stand(adapter, kelvin, metric="thermal-headroom", standard_uncertainty=0.5)


def standing(**asked: object) -> Pair:
    return pair(STANDBY, HEADROOM, viewer=None, **asked)  # type: ignore[arg-type]


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(_coordinates, _coordinates), max_size=25))
def test_the_front_is_what_comparing_everyone_with_everyone_finds(
    points: list[tuple[float, float]],
) -> None:
    # The definition of Pareto dominance, word for word: at least as good on both, better on one.
    expected = [
        place
        for place, (x, y) in enumerate(points)
        if not any((u <= x and v <= y) and (u < x or v < y) for u, v in points)
    ]
    x_keys, y_keys = (np.array([point[axis] for point in points]) for axis in (0, 1))
    assert front(x_keys, y_keys).tolist() == expected


def test_the_front_of_a_large_bench_has_no_one_who_is_beaten() -> None:
    dice = np.random.default_rng(3)
    x, y = dice.normal(size=(2, 20_000))
    found = front(x, y)
    for place in found:
        assert not ((x <= x[place]) & (y < y[place])).any()
    # Everyone else is beaten by somebody of the front.
    beaten = (x[found][:, None] <= x) & (y[found][:, None] <= y)
    assert beaten.any(axis=0).all()


@pytest.mark.django_db
def test_the_better_direction_of_each_metric_decides() -> None:
    both("Frugal 1", 0.03, 5.0)
    both("Cool 1", 0.09, 25.0)
    both("Beaten 1", 0.09, 5.0)
    both("Level 1", 0.03, 5.0)
    stand(make_adapter("Half 1"), 0.01)
    found = standing()
    assert len(found) == 4
    assert sorted(found.x_values[found.on_front]) == [0.03, 0.03, 0.09]
    assert sorted(found.y_values[found.on_front]) == [5.0, 5.0, 25.0]


@pytest.mark.django_db
def test_values_and_ranks_are_those_of_the_two_rankings(client: Client) -> None:
    dice = np.random.default_rng(11)
    for number in range(12):
        both(f"Solo {number}", float(dice.uniform(0.03, 0.2)), float(dice.uniform(0, 30)))
    rows = list(
        csv.DictReader(io.StringIO(client.get(f"{PAGE[:14]}.csv{PAGE[15:]}").content.decode()))
    )
    assert len(rows) == 12
    assert {row["x_source"] for row in rows} == {"run"}
    for axis, name in ((STANDBY, "x"), (HEADROOM, "y")):
        ranked = ranking(axis.metric, axis.condition, viewer=None).rows
        expected = {row.adapter.slug: (str(row.value), str(row.rank)) for row in ranked}
        assert {
            row["adapter"]: (row[f"{name}_value"], row[f"{name}_rank"]) for row in rows
        } == expected
    page = client.get(PAGE).content.decode()
    table = page[page.index('class="pair-table"') :]
    assert re.findall(r'scope="row"[^>]*><a href="/adapters/([^/]+)/"', table) == [
        row["adapter"] for row in rows
    ]
    marked = re.findall(r"<td>◆ \d+</td><th[^>]*><a href=\"/adapters/([^/]+)/", table)
    assert marked == [row["adapter"] for row in rows if row["beaten_by_none_on_both"] == "yes"]


@pytest.mark.django_db
def test_an_embargoed_adapter_is_in_no_picture(client: Client, editor: User) -> None:
    both("Solo 1", 0.05, 10.0)
    both("Secret 1", 0.01, 30.0, publish_on=timezone.now().date() + timedelta(days=9))
    assert len(standing()) == 1
    assert "Secret" not in client.get(PAGE).content.decode()
    client.force_login(editor)
    assert "Secret" in client.get(PAGE).content.decode()


@pytest.mark.django_db
def test_filters_narrow_both_cohorts_and_the_front_with_them(client: Client) -> None:
    both("Small 1", 0.03, 30.0, rated_power_w=30.0)
    both("Large 1", 0.09, 5.0, rated_power_w=140.0)
    page = client.get(f"{PAGE}&power_min=100").content.decode()
    assert "Only Northfold Large 1 has standby power and thermal headroom" in page
    assert "Small 1" not in page
    assert "rated 100 W or more" in page


@pytest.mark.django_db
def test_the_usual_pair_is_size_against_heat_and_every_ranking_leads_to_one(
    client: Client,
) -> None:
    both("Solo 1", 0.05, 10.0)
    page = client.get("/rankings/pair/").content.decode()
    assert "<h1>Power density against thermal headroom</h1>" in page
    assert '<option value="power-density" selected>' in page
    assert "better on both ↗" in page
    ranked = client.get("/rankings/no-load-power/").content.decode()
    link = re.search(r'href="(/rankings/pair/\?[^"]+)"', ranked)
    assert link is not None
    beside = client.get(link[1].replace("&amp;", "&")).content.decode()
    assert "<h1>Power density against standby power</h1>" in beside
    assert "better on both ↘" in beside
    assert 'href="/rankings/pair/"' in client.get("/rankings/").content.decode()
    today = timezone.now().date()
    then = client.get(f"/rankings/no-load-power/?as_of={today}").content.decode()
    assert re.search(rf'href="/rankings/pair/\?[^"]*as_of={today}', then)


@pytest.mark.django_db
def test_nobody_with_both_says_so(client: Client) -> None:
    stand(make_adapter("Solo 1"), 0.05)
    assert "has a comparable value of both" in client.get(PAGE).content.decode()
    assert client.get("/rankings/pair.csv?x=no-load-power&y=thermal-headroom").status_code == 200
    assert "has a comparable value of both" in client.get("/rankings/pair/").content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("x=no-such-metric", "Select a valid choice"),
        ("x=time-constant", "Select a valid choice"),
        ("x=no-load-power&y=no-load-power", "Choose two different metrics"),
        ("x_condition=line%3Dodd", "There is no value under that condition"),
        ("x=no-load-power&start=99", "The table has 1 rows."),
        ("since=2026-01-01", "is not a filter of this page"),
        ("as_of=2999-01-01", "That day has not come yet."),
        ("power_min=x", "Enter a number."),
    ],
)
def test_what_cannot_be_drawn_is_explained(client: Client, query: str, words: str) -> None:
    both("Solo 1", 0.05, 10.0)
    response = client.get(f"/rankings/pair/?{query}")
    assert response.status_code == 400
    assert words in response.content.decode()
    if "start" not in query:
        assert client.get(f"/rankings/pair.csv?{query}").status_code == 400


@pytest.mark.django_db
def test_one_metric_under_two_conditions_is_a_pair(client: Client) -> None:
    adapter = make_adapter("Solo 1")
    for line in ("high", "low"):
        stand(adapter, 0.05, condition=Condition(line=line))
    page = client.get(
        "/rankings/pair/?x=no-load-power&y=no-load-power&y_condition=line%3Dlow"
    ).content.decode()
    assert "1 adapter that has both" in page
    assert "Only Northfold Solo 1 has standby power and standby power." in page


@pytest.mark.django_db
def test_a_long_table_is_paged_and_costs_the_same_for_any_number(client: Client) -> None:
    counts = []
    for start, stop in ((0, 3), (3, 105)):
        for number in range(start, stop):
            both(f"Solo {number:03}", 0.05 + number / 1000, float(number % 7))
        client.get(PAGE)  # the cohorts are at hand from here on
        with CaptureQueriesContext(connection) as captured:
            page = client.get(PAGE)
        counts.append(len(captured))
    assert counts[0] == counts[1]
    assert len(gzip.compress(page.content)) < 120 * 1024
    later = client.get(f"{PAGE}&start=100").content.decode()
    assert later[later.index('class="pair-table"') :].count('scope="row"') == 5
    assert "rows 101 to 105 of 105" in later
