"""Metrics, values, instruments and limits over HTTP."""

from __future__ import annotations

import math

import pytest
from django.contrib.auth.models import User
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from measurements.kinds import all_metrics
from measurements.models import Instrument, Value
from tests.factories.api import INSTRUMENT, client_of, faulty_fields, walk
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log, ready

pytestmark = pytest.mark.django_db

VALUES = "/api/v1/values/"
INSTRUMENTS = "/api/v1/instruments/"


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


def test_every_metric_is_listed_with_its_definition(anyone: APIClient) -> None:
    rows = list(walk(anyone, "/api/v1/metrics/"))
    assert [row["key"] for row in rows] == list(all_metrics())
    for row in rows:
        assert all(row[part] for part in ("title", "unit", "definition", "source", "method"))
        assert row["better"] in ("lower", "higher", "")
    power = next(row for row in rows if row["key"] == "no-load-power")
    assert (power["unit"], power["better"], power["condition"]) == ("W", "lower", ["line"])
    assert "IEC 62301" in power["source"]


def test_metrics_are_paged_like_every_list(anyone: APIClient) -> None:
    assert [row["key"] for row in walk(anyone, "/api/v1/metrics/?limit=4")] == list(all_metrics())


def test_values_that_stand_are_listed_with_their_run(anyone: APIClient, editor: User) -> None:
    run = accepted(make_adapter(), no_load_log(0.05), by=editor)
    ready(make_adapter("Solo 45"))
    content = anyone.get(f"{VALUES}?metric=no-load-power&line=high").json()
    assert content["next"] is None
    (row,) = content["results"]
    assert row["value"] == pytest.approx(0.05, abs=1e-6)
    del row["value"]
    assert row.pop("standard_uncertainty") >= 0
    assert row.pop("current_from") >= run.received_at.isoformat()
    assert row == {
        "adapter": "northfold-solo-65",
        "metric": "no-load-power",
        "unit": "W",
        "condition": {"line": "high"},
        "run": str(run.pk),
        "source": "run",
        "table": None,
        "method": "1.0",
        "not_comparable": None,
    }


def test_a_value_that_is_not_comparable_says_why(anyone: APIClient, editor: User) -> None:
    accepted(make_adapter(), by=editor)
    Value.objects.filter(metric="no-load-power").update(apart="Measured with a warm adapter.")
    (row,) = anyone.get(f"{VALUES}?metric=no-load-power").json()["results"]
    assert row["not_comparable"] == "Measured with a warm adapter."


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ("metric=no-load-power", 2),
        ("metric=no-load-power&line=low", 1),
        ("metric=no-load-power&adapter=northfold-solo-65", 1),
        ("metric=no-load-power&output_v=20", 0),
        ("metric=time-constant&device=slate&sensor=top&load=full", 0),
    ],
)
def test_filters_narrow_the_values(anyone: APIClient, editor: User, query: str, count: int) -> None:
    accepted(make_adapter(), by=editor)
    accepted(make_adapter("Solo 45"), by=editor, mains_v=115.0)
    answer = anyone.get(f"{VALUES}?{query}")
    assert len(answer.json()["results"]) == count


@pytest.mark.parametrize(
    "query",
    ["metric=no-such", "line=230", "output_v=twenty", "adapter=none-such", "condition_key=x"],
)
def test_a_filter_that_is_not_understood_is_refused(anyone: APIClient, query: str) -> None:
    assert faulty_fields(anyone.get(f"{VALUES}?{query}")) == {query.split("=", maxsplit=1)[0]}


def test_a_walk_over_values_sees_each_once_while_others_are_added(
    anyone: APIClient, editor: User
) -> None:
    for number in range(6):
        make_adapter(f"Solo {number}", mass_g=100.0)
    before = set(Value.objects.values_list("adapter__slug", flat=True))
    seen = []
    for count, row in enumerate(walk(anyone, f"{VALUES}?metric=specific-power&limit=2")):
        seen.append(row["adapter"])
        if count < 5:
            make_adapter(f"Later {count}", mass_g=100.0)
    assert len(seen) == len(set(seen))
    assert before <= set(seen)


def test_values_take_the_same_queries_for_3_and_for_30_rows(
    anyone: APIClient, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(30):
        make_adapter(f"Solo {number}", mass_g=100.0)
        if number in (2, 29):
            with django_assert_num_queries(1):
                anyone.get(VALUES)


def test_an_instrument_is_written_and_listed(anyone: APIClient, reviewer: User) -> None:
    body = {**INSTRUMENT, "calibrated_on": "2026-01-10", "calibration_due": "2027-01-10"}
    answer = client_of(reviewer).post(INSTRUMENTS, body, format="json")
    assert (answer.status_code, answer.json()) == (201, body)
    assert anyone.get(INSTRUMENTS).json() == {"results": [body], "next": None}


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": "x" * 101}, "name"),
        ({"quantity": "length"}, "quantity"),
        ({"reading_percent": -1}, "reading_percent"),
        ({"reading_percent": "0.1"}, "reading_percent"),
        ({"fixed": None}, "fixed"),
        ({"calibrated_on": "yesterday"}, "calibrated_on"),
        ({"calibrated_on": "2026-01-10", "calibration_due": "2025-01-10"}, "body"),
        ({"owner": "x"}, "owner"),
    ],
)
def test_a_wrong_instrument_is_refused_by_field(
    reviewer: User, wrong: dict[str, object], field: str
) -> None:
    answer = client_of(reviewer).post(INSTRUMENTS, {**INSTRUMENT, **wrong}, format="json")
    assert faulty_fields(answer) == {field}
    assert not Instrument.objects.exists()


def test_an_instruments_name_is_taken_once(reviewer: User) -> None:
    client = client_of(reviewer)
    assert client.post(INSTRUMENTS, INSTRUMENT, format="json").status_code == 201
    assert faulty_fields(client.post(INSTRUMENTS, INSTRUMENT, format="json")) == {"name"}


def test_limits_are_those_of_the_published_tables(anyone: APIClient) -> None:
    # Level VI, 10 CFR 430.32(w), basic-voltage supply above 49 W and up to 250 W:
    # average efficiency at least 0.880, no-load power at most 0.210 W.
    rows = anyone.get("/api/v1/limits/?rated_power_w=65").json()["results"]
    found = {(row["scheme"], row["quantity"]): row for row in rows}
    assert found["level-vi", "average-efficiency"]["value"] == pytest.approx(88.0)
    assert found["level-vi", "average-efficiency"]["unit"] == "%"
    assert found["level-vi", "no-load-power"]["value"] == pytest.approx(0.21)
    assert {row["scheme"] for row in rows} == {
        "level-vi",
        "eu-2019-1782",
        "coc-v5-tier-1",
        "coc-v5-tier-2",
    }


def test_the_output_decides_the_low_voltage_row(anyone: APIClient) -> None:
    # Level VI, low-voltage row (below 6 V, 0.55 A or more), 1 W < P <= 49 W:
    # average efficiency at least 0.0834 ln(P) - 0.0014 P + 0.609.
    query = "rated_power_w=15&output_v=5&output_a=3&supply=adaptive"
    rows = anyone.get(f"/api/v1/limits/?{query}").json()["results"]
    (row,) = (
        row
        for row in rows
        if (row["scheme"], row["quantity"]) == ("level-vi", "average-efficiency")
    )
    expected = 100 * (0.0834 * math.log(15) - 0.0014 * 15 + 0.609)
    assert row["value"] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("", "rated_power_w"),
        ("rated_power_w=", "rated_power_w"),
        ("rated_power_w=0", "rated_power_w"),
        ("rated_power_w=-5", "rated_power_w"),
        ("rated_power_w=10001", "rated_power_w"),
        ("rated_power_w=nan", "rated_power_w"),
        ("rated_power_w=65&output_v=0", "output_v"),
        ("rated_power_w=65&output_a=x", "output_a"),
        ("rated_power_w=65&supply=magic", "supply"),
        ("rated_power_w=65&output=5", "output"),
    ],
)
def test_a_rating_that_is_none_is_refused(anyone: APIClient, query: str, field: str) -> None:
    assert faulty_fields(anyone.get(f"/api/v1/limits/?{query}")) == {field}
