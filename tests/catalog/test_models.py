"""Adapters as the database holds them: who sees them, and which facts go together."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import AnonymousUser, User
from django.core.exceptions import ValidationError
from django.utils import timezone

from catalog.actions import PortFacts
from catalog.models import Adapter
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db


def names(adapters: object) -> set[str]:
    return {adapter.name for adapter in adapters}  # type: ignore[attr-defined]


def test_the_public_sees_an_adapter_from_its_publish_date_on() -> None:
    today = timezone.now().date()
    make_adapter("Past", publish_on=today - timedelta(days=1))
    make_adapter("Today", publish_on=today)
    make_adapter("Tomorrow", publish_on=today + timedelta(days=1))
    make_adapter("Always")

    for viewer in (None, AnonymousUser()):
        assert names(Adapter.objects.visible_to(viewer)) == {"Past", "Today", "Always"}


def test_reviewers_see_what_is_not_published_yet(reviewer: User) -> None:
    make_adapter("Tomorrow", publish_on=timezone.now().date() + timedelta(days=1))

    assert names(Adapter.objects.visible_to(reviewer)) == {"Tomorrow"}


def test_every_word_of_a_search_must_be_found_somewhere() -> None:
    make_adapter("Solo 65", maker="Northfold", model_number="NF-65")
    make_adapter("Solo 30", maker="Kestrel")

    assert names(Adapter.objects.search("northfold solo")) == {"Solo 65"}
    assert names(Adapter.objects.search("nf-65")) == {"Solo 65"}
    assert names(Adapter.objects.search("solo")) == {"Solo 65", "Solo 30"}
    assert names(Adapter.objects.search("kestrel 65")) == set()


def test_ports_are_counted_also_where_there_are_none() -> None:
    make_adapter("None", ports=())
    make_adapter("Two", ports=(PortFacts("C1", "usb-c"), PortFacts("A1", "usb-a")))

    assert names(Adapter.objects.with_ports_at_least(2)) == {"Two"}
    assert names(Adapter.objects.with_ports_at_least(0)) == {"None", "Two"}


def test_volume_is_the_product_of_all_three_lengths_or_unknown() -> None:
    assert make_adapter("A", length_mm=60, width_mm=50, height_mm=30).volume_cm3 == 90
    unknown = make_adapter("B", length_mm=None, width_mm=None, height_mm=None)
    assert unknown.volume_cm3 is None


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"rated_power_w": 0.0}, "between 0 and 10,000 W"),
        ({"mains_min_v": 100.0}, "both ends of the mains range"),
        ({"mains_min_v": 240.0, "mains_max_v": 100.0}, "from its lower to its higher end"),
        ({"length_mm": None}, "length, width and height"),
        ({"mass_g": -1.0}, "greater than 0 g"),
        ({"price": 10}, "needs its currency"),
    ],
)
def test_facts_that_contradict_each_other_are_refused_with_a_sentence(
    facts: dict[str, float], sentence: str
) -> None:
    with pytest.raises(ValidationError, match=sentence):
        make_adapter("Solo", **facts)  # type: ignore[arg-type]
