"""Single runs laid over each other: repeats, other ports, and which ones are refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from catalog.models import Adapter, Device
from comparisons.queries.charge_differences import QUANTITIES, values_of_runs
from comparisons.queries.charge_runs import further_charges, labels_of, standing_charges
from measurements.actions import withdraw_run
from measurements.models import Run, Value
from tests.comparisons.charging import adapter, charged, laptop, log

__all__ = ["charged", "laptop"]

pytestmark = pytest.mark.django_db

MORNING = datetime(2026, 3, 2, 9, 10, tzinfo=UTC)


@pytest.fixture
def repeats(charged: Callable[..., Run]) -> tuple[Adapter, list[Run]]:
    """One adapter at two ports, and at one of them twice; the last run stands."""
    tested = adapter("One")
    c1, c2 = tested.ports.all()
    runs = [
        charged(tested, log(2.0), port=c1, mains_v=230.0, measured_at=MORNING),
        charged(tested, log(1.5), port=c2, mains_v=230.0, measured_at=MORNING),
        charged(
            tested, log(2.01), port=c1, mains_v=229.6, measured_at=MORNING + timedelta(hours=3)
        ),
    ]
    for run in runs:
        run.refresh_from_db()
    return tested, runs


def test_labels_say_what_tells_repeats_apart(repeats: tuple[Adapter, list[Run]]) -> None:
    _, runs = repeats
    assert labels_of(runs) == [
        "Invented One, C1, 09:10",
        "Invented One, C2",
        "Invented One, C1, 12:10",
    ]
    assert labels_of(runs[:1]) == ["Invented One"]


def test_repeats_of_one_adapter_are_drawn_with_port_mains_and_day(
    client: Client, repeats: tuple[Adapter, list[Run]]
) -> None:
    tested, (first, second, _) = repeats
    query = f"?adapter={tested.slug}&run={first.pk}&run={second.pk}&reference={first.pk}"
    page = client.get(f"/charges/laptop/{query}")
    text = page.content.decode()
    assert page.status_code == 200
    assert "Invented One, C2 charges it measurably differently" in text
    for said in ('<td class="number">C2</td>', "229.6 V", "2026-03-02"):
        assert said in text
    chart = client.get(f"/charges/laptop/curves.svg{query}")
    assert chart.status_code == 200
    assert "the reference" in chart.content.decode()


def test_a_run_that_stands_for_its_adapter_is_drawn_once(
    client: Client, repeats: tuple[Adapter, list[Run]]
) -> None:
    tested, (*_, last) = repeats
    page = client.get(f"/charges/laptop/?adapter={tested.slug}&run={last.pk}").content.decode()
    assert page.count("The reference.") == 1
    assert "Distance of the curves" not in page


def test_runs_that_no_longer_stand_are_offered(
    laptop: Device, repeats: tuple[Adapter, list[Run]], client: Client
) -> None:
    tested, (first, second, last) = repeats
    standing = standing_charges(laptop, viewer=None)
    assert {slug: run for slug, (_, run) in standing.items()} == {tested.slug: last.pk}
    further = further_charges(laptop, besides=[last.pk], viewer=None)
    assert [run.pk for run in further] == [second.pk, first.pk]
    page = client.get("/charges/laptop/").content.decode()
    assert "Invented One, C2, 230 V, 2026-03-02 09:10, superseded" in page


def test_a_run_of_another_device_is_refused_with_a_sentence(
    client: Client, charged: Callable[..., Run]
) -> None:
    Device.objects.create(slug="slate", name="Invented slate", battery_wh=40)
    run = charged(adapter("One"), log(2.0), method_fields={"device": "slate"})
    for field in ("run", "reference"):
        page = client.get(f"/charges/laptop/?{field}={run.pk}")
        assert page.status_code == 400
        assert "another device" in page.content.decode()


def test_only_runs_that_the_reader_may_see_are_drawn(
    client: Client,
    person: Callable[[str], User],
    repeats: tuple[Adapter, list[Run]],
    editor: User,
) -> None:
    tested, (first, second, _) = repeats
    withdraw_run(second, by=editor, reason="The cable was loose.")
    assert client.get(f"/charges/laptop/?run={second.pk}").status_code == 400
    tested.publish_on = timezone.now().date() + timedelta(days=30)
    tested.save()
    assert client.get(f"/charges/laptop/?run={first.pk}").status_code == 400
    client.force_login(editor)
    assert client.get(f"/charges/laptop/?run={first.pk}").status_code == 200


def test_the_number_of_queries_does_not_grow_with_the_curves(
    client: Client, charged: Callable[..., Run], django_assert_max_num_queries: Any
) -> None:
    made = [adapter(f"Number {number}") for number in range(3)]
    runs = [charged(tested, log(2.0 + number / 10)) for number, tested in enumerate(made * 2)]
    query = "&".join(f"run={run.pk}" for run in runs)
    client.get("/charges/laptop/")
    with django_assert_max_num_queries(12):
        assert client.get(f"/charges/laptop/?{query}").status_code == 200


def test_a_run_shows_its_own_values_and_none_that_it_no_longer_gives(
    repeats: tuple[Adapter, list[Run]],
) -> None:
    _, runs = repeats
    first, _, last = runs
    found = values_of_runs([run.pk for run in runs])
    # 98 % of 2 Ah at 2 A: the values of the run itself, though another one stands by now.
    assert found[first.pk]["charge-to-full"].value == pytest.approx(0.98 * 60, abs=0.4)
    assert set(found[first.pk]) == set(found[last.pk]) == set(QUANTITIES)
    Value.objects.filter(run=last, metric="charge-to-20").update(current_until=timezone.now())
    assert "charge-to-20" not in values_of_runs([last.pk])[last.pk]
