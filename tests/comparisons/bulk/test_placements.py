"""The download of places against each adapter's own list, and against scipy."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient
from scipy import stats

from catalog.models import Adapter
from comparisons.queries.cohorts import remembered
from measurements.kinds.base import Condition
from measurements.models import Value
from tests.comparisons.bulk.reading import BULK, content_of, downloaded, parquet_rows
from tests.comparisons.populations import stand
from tests.factories.api import client_of, faulty_fields, walk
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, efficiency_log, no_load_log
from tests.factories.result_tables import accepted_table, standby_table

pytestmark = pytest.mark.django_db

PARTS = ("line", "output_v", "load", "load_percent", "device", "sensor", "port")


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


def each_list(client: APIClient, query: str = "") -> list[dict[str, Any]]:
    """Every adapter's own places in the shape of the download."""
    rows = []
    for slug in Adapter.objects.visible_to(None).values_list("slug", flat=True):
        for row in walk(client, f"/api/v1/adapters/{slug}/placements/?{query}"):
            condition = row.pop("condition")
            parts = {part: condition.get(part) for part in PARTS}
            rows.append({"adapter": slug, **row, **parts})
    return rows


def by_place(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows in an order that does not depend on where they came from."""
    return sorted(
        rows, key=lambda row: [str(row[name]) for name in ("metric", *PARTS, "adapter", "value")]
    )


@pytest.fixture
def bench(editor: User) -> None:
    """Ties, near ties, values set apart, of tables, under embargo and of the catalogue."""
    for name, power in (("Solo 30", 0.05), ("Solo 45", 0.05), ("Solo 65", 0.0507), ("Duo 65", 0.3)):
        accepted(make_adapter(name), no_load_log(power), by=editor)
    accepted(
        Adapter.objects.get(slug="northfold-solo-65"),
        efficiency_log(5.0, 20.0),
        kind="efficiency",
        by=editor,
    )
    stand(make_adapter("Trio 65"), 0.2, apart="Measured with a warm adapter.")
    stand(make_adapter("Trio 65 B"), 60.0, metric="surface-temperature")
    stand(make_adapter("Quad 65"), 1.0, condition=Condition(line="low"), apart="Too short.")
    late = timezone.now().date() + timedelta(days=9)
    stand(make_adapter("Trio 100", publish_on=late), 0.01)
    make_adapter("Mini 20")
    accepted_table(
        standby_table(("northfold-mini-20", 0.04, None), ("northfold-solo-65", 0.09, 0.01)),
        by=editor,
    )


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("tables", ["in", "out"])
def test_a_download_has_the_places_of_every_adapter(anyone: APIClient, tables: str) -> None:
    rows = downloaded(anyone, "placements", f"tables={tables}")
    assert len(rows) > 20
    assert by_place(rows) == by_place(each_list(anyone, f"tables={tables}"))


@pytest.mark.usefixtures("bench")
def test_places_of_an_earlier_moment_are_those_of_then(anyone: APIClient, editor: User) -> None:
    moment = f"{timezone.now():%Y-%m-%dT%H:%M:%S.%fZ}"
    before = downloaded(anyone, "placements")
    accepted(Adapter.objects.get(slug="northfold-duo-65"), no_load_log(0.02), by=editor)
    then = downloaded(anyone, "placements", f"as_of={moment}")
    assert then == before
    assert by_place(then) == by_place(each_list(anyone, f"as_of={moment}"))
    assert downloaded(anyone, "placements") != before


@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    numbers=st.lists(
        st.tuples(
            st.integers(1, 30).map(lambda number: number / 100), st.sampled_from([0.0, 0.01, 0.05])
        ),
        min_size=1,
        max_size=8,
    )
)
def test_any_population_has_the_places_of_its_lists(
    anyone: APIClient, numbers: list[tuple[float, float]]
) -> None:
    Value.objects.all().delete()
    remembered.clear()
    for number, (power, spread) in enumerate(numbers):
        name = f"Model {number}"
        adapter = Adapter.objects.filter(name=name).first() or make_adapter(name)
        stand(adapter, power, standard_uncertainty=spread)
    rows = downloaded(anyone, "placements", "metric=no-load-power")
    lists = [row for row in each_list(anyone) if row["metric"] == "no-load-power"]
    assert by_place(rows) == by_place(lists)
    # scipy 1.17, `percentileofscore(kind="mean")`, turned so that higher is better.
    powers = [power for power, _ in numbers]
    for row in rows:
        beaten = 100 - stats.percentileofscore(powers, row["value"], kind="mean")
        assert row["percentile"] == pytest.approx(beaten, abs=1e-9)
        assert row["rank"] == 1 + sum(power < row["value"] for power in powers)


@pytest.mark.usefixtures("bench")
def test_rows_come_cohort_by_cohort_best_first_then_what_is_set_apart(anyone: APIClient) -> None:
    rows = downloaded(anyone, "placements", "metric=no-load-power")
    assert [(row["line"], row["rank"], row["not_comparable"]) for row in rows] == [
        ("high", 1, None),
        ("high", 1, None),
        ("high", 3, None),
        ("high", 4, None),
        ("high", None, "Measured with a warm adapter."),
        ("low", None, "Too short."),
    ]


@pytest.mark.usefixtures("bench")
def test_places_are_typed_in_parquet(anyone: APIClient) -> None:
    rows = parquet_rows(content_of(anyone.get(f"{BULK}/placements/?as=parquet&tables=in")))
    assert rows == downloaded(anyone, "placements", "tables=in")
    assert {type(row["rank"]) for row in rows} == {int, type(None)}


@pytest.mark.usefixtures("bench")
def test_queries_follow_the_conditions_not_the_adapters(
    anyone: APIClient, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    address = f"{BULK}/placements/?metric=no-load-power"
    # The stamp for the tag; conditions with their stamp; for each of two the stamp, the cohort,
    # its rows (one has none) and what is set apart.
    with django_assert_num_queries(10):
        content_of(anyone.get(address))
    for number in range(5):
        stand(make_adapter(f"Model {number}"), 0.2)
    with django_assert_num_queries(10):
        content_of(anyone.get(address))


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("metric=efficiency", "metric"),
        ("metric=nothing", "metric"),
        ("as_of=once", "as_of"),
        ("adapter=x", "adapter"),
    ],
)
def test_what_is_not_understood_is_refused(anyone: APIClient, query: str, field: str) -> None:
    assert faulty_fields(anyone.get(f"{BULK}/placements/?{query}")) == {field}
