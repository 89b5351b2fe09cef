"""Charges laid over each other: what is compared, and what is said not to be."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from catalog.actions import PortFacts, save_adapter
from catalog.models import Adapter, Device, Maker
from comparisons.queries.charge_overlays import Overlay, overlay
from measurements.actions import RunFacts, accept_run, receive_run
from measurements.models import Run
from measurements.processing import compute

pytestmark = pytest.mark.django_db

CAPACITY_AH = 2.0
BATTERY_V = 20.0


@pytest.fixture
def laptop() -> Device:
    return Device.objects.create(slug="laptop", name="Invented laptop", battery_wh=40)


def adapter(name: str) -> Adapter:
    maker, _ = Maker.objects.get_or_create(name="Invented", defaults={"slug": "invented"})
    return save_adapter(
        Adapter(maker=maker, name=name, rated_power_w=65), ports=[PortFacts("C1", "usb-c", 65.0)]
    )


def log(amperes: float, *, start: float = 2.0) -> bytes:
    """A charge at constant current from `start` to 100 %, then a minute of rest."""
    rows = ["time_s,voltage_v,current_a,battery_percent"]
    seconds = int((100 - start) / 100 * CAPACITY_AH / amperes * 3600)
    for at in range(0, seconds + 60, 10):
        level = min(100.0, start + 100 * at / 3600 * amperes / CAPACITY_AH)
        rows.append(f"{at},{BATTERY_V},{amperes if level < 100 else 0:.4f},{int(level)}")
    return "\n".join([*rows, ""]).encode()


@pytest.fixture
def charged(person: Callable[[str], User], laptop: Device) -> Callable[..., Run]:
    editor = person("editor")

    def make(tested: Adapter, content: bytes) -> Run:
        received = receive_run(
            RunFacts(adapter=tested, kind="charge", method_fields={"device": laptop.slug}),
            chunks=[content],
            file_name="charge.csv",
            by=editor,
        )
        assert compute(received.run.pk) == "ready", Run.objects.get(pk=received.run.pk).problems
        return accept_run(received.run, by=editor)

    return make


def laid(laptop: Device, *adapters: Adapter, by: Any = "time") -> Overlay:
    return overlay(laptop, adapters, reference=adapters[0], by=by, viewer=None)


def test_a_stronger_adapter_differs_and_an_equal_one_does_not(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    one, same, fast = adapter("One"), adapter("Same"), adapter("Fast")
    for amperes in (2.0, 2.004, 1.996):  # the same unit three times: how well the bench repeats
        charged(one, log(amperes))
    charged(same, log(2.002))
    charged(fast, log(3.0))
    found = laid(laptop, one, same, fast)
    reference, equal, faster = found.curves
    assert reference.is_reference
    assert reference.against is None
    assert equal.differing == ()
    assert "does not differ" in equal.verdict
    assert {item.metric.key for item in faster.differing} >= {"charge-to-80", "charge-mean-power"}
    # From 2 % to 80 % at 3 A instead of 2 A: 0.78 · 2 Ah · (1/3 − 1/2) h.
    to_80 = next(item for item in faster.differences if item.metric.key == "charge-to-80")
    assert to_80.difference == pytest.approx(-0.78 * 2 * 60 / 6, abs=0.5)
    assert faster.against is not None
    # Once the faster one is full, the reference still gives its 20 V · 1.996 A.
    assert faster.against.largest == pytest.approx(39.92)
    assert found.repeats["charge-mean-power"].degrees_of_freedom == 2
    assert found.title == "Invented Fast charges it measurably differently"


def test_by_level_the_power_of_both_is_compared_where_both_have_it(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    one, fast = adapter("One"), adapter("Fast")
    charged(one, log(2.0))
    charged(fast, log(3.0))
    against = laid(laptop, one, fast, by="level").curves[1].against
    assert against is not None
    assert against.mean == pytest.approx(20.0, abs=0.3)
    assert against.mean_absolute == pytest.approx(20.0, abs=0.3)


def test_another_start_level_is_said_and_not_compared(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    one, late = adapter("One"), adapter("Late")
    charged(one, log(2.0))
    charged(late, log(2.0, start=30))
    found = laid(laptop, one, late)
    assert all(item.difference is None for item in found.curves[1].differences)
    assert any("started at 30 %" in warning for warning in found.warnings)
    assert any("repeatability is not known" in warning for warning in found.warnings)


def test_the_page_draws_what_its_address_says(
    client: Client, laptop: Device, charged: Callable[..., Run], django_assert_num_queries: Any
) -> None:
    one, fast = adapter("One"), adapter("Fast")
    charged(one, log(2.0))
    charged(fast, log(3.0))
    assert "Invented laptop" in client.get("/charges/").content.decode()
    query = f"?adapter={one.slug}&adapter={fast.slug}&reference={fast.slug}&by=level"
    page = client.get(f"/charges/laptop/{query}")
    assert page.status_code == 200
    assert "Invented One charges it measurably differently" in page.content.decode()
    chart = client.get(f"/charges/laptop/curves.svg{query}&theme=dark&size=narrow")
    assert chart.status_code == 200
    assert chart.content.startswith(b"<svg")
    again = client.get(
        f"/charges/laptop/curves.svg{query}&theme=dark&size=narrow",
        headers={"If-None-Match": chart["ETag"]},
    )
    assert again.status_code == 304
    listed = client.get(f"/adapters/{one.slug}/").content.decode()
    assert f"/charges/laptop/?adapter={one.slug}" in listed


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("", 200),
        ("?adapter=nobody", 400),
        ("?by=colour", 400),
        ("?adaptor=one", 400),
        ("?reference=nobody", 400),
    ],
)
def test_a_wrong_address_says_what_is_wrong(
    client: Client, laptop: Device, query: str, status: int
) -> None:
    assert client.get(f"/charges/laptop/{query}").status_code == status
    assert client.get(f"/charges/laptop/curves.svg{query}").status_code == (
        404 if not query else 400
    )
    assert client.get("/charges/nothing/").status_code == 404


def test_more_curves_than_can_be_told_apart_are_refused(
    client: Client, laptop: Device, charged: Callable[..., Run]
) -> None:
    made = [adapter(f"Number {number}") for number in range(7)]
    for number, tested in enumerate(made):
        charged(tested, log(2.0 + number / 10))
    query = "&".join(f"adapter={tested.slug}" for tested in made)
    page = client.get(f"/charges/laptop/?{query}")
    assert page.status_code == 400
    assert "at most 6 adapters" in page.content.decode()
