"""Adapters as the database holds them: who sees them, and which facts go together."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import AnonymousUser, User
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from catalog.actions import ClaimFacts, PortFacts, save_device
from catalog.models import Adapter, Device, LabelClaim, whole_combination
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
        make_adapter("Solo", sound=False, **facts)  # type: ignore[arg-type]


LABELS = ("C1", "C2", "USB A")


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("C1+C2", "C1+C2"),
        (" C2 + C1 ", "C2+C1"),
        ("c1+usb a", "C1+USB A"),
        ("C1+C2+USB A", "C1+C2+USB A"),
    ],
)
def test_a_combination_is_written_in_the_labels_of_the_adapter(text: str, whole: str) -> None:
    assert whole_combination(text, labels=LABELS, port="C1") == whole


def test_labels_that_differ_by_case_alone_stay_apart_in_a_combination() -> None:
    assert whole_combination("c1+C1", labels=("C1", "c1"), port="C1") == "c1+C1"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("C1+C9", "No port is labelled “C9”"),
        ("C1++C2", "Join the labels"),
        ("+", "Join the labels"),
        ("C1+C2+", "Join the labels"),
        ("C1+c1", "“C1” stands twice"),
        ("C1", "at least two ports"),
        ("C2+USB A", "The claim is about “C1”"),
    ],
)
def test_what_names_no_combination_is_refused_with_a_sentence(text: str, sentence: str) -> None:
    with pytest.raises(ValidationError, match=sentence):
        whole_combination(text, labels=LABELS, port="C1")


TWO = (PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c"))


def test_a_sharing_claim_is_kept_with_its_ports_and_power() -> None:
    adapter = make_adapter(
        ports=TWO, claims=(ClaimFacts("C1 65 W", "C1", combination="c1 + C2", power_w=65.0),)
    )

    claim = adapter.claims.get()
    assert (claim.combination, claim.power_w, str(claim.port)) == ("C1+C2", 65.0, "C1")


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"combination": "C1+C2"}, "ports in use together with the power"),
        ({"power_w": 65.0}, "ports in use together with the power"),
        ({"port": "", "combination": "C1+C2", "power_w": 65.0}, "which port keeps"),
        ({"combination": "C1+C2", "power_w": 0.0}, "greater than 0 W"),
        ({"combination": "C1+C9", "power_w": 65.0}, "No port is labelled “C9”"),
    ],
)
def test_a_sharing_claim_that_is_not_whole_is_refused_with_a_sentence(
    facts: dict[str, float], sentence: str
) -> None:
    claim = {"text": "C1 65 W", "port": "C1", **facts}
    with pytest.raises(ValidationError, match=sentence):
        make_adapter(ports=TWO, claims=(ClaimFacts(**claim),), sound=False)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "facts",
    [
        {"combination": "C1+C2"},
        {"power_w": 65.0},
        {"port": None, "combination": "C1+C2", "power_w": 65.0},
        {"combination": "C1+C2", "power_w": -1.0},
    ],
)
def test_the_database_keeps_no_half_of_a_sharing_claim(facts: dict[str, object]) -> None:
    adapter = make_adapter(ports=TWO)
    whole = {"port": adapter.ports.get(label="C1"), "text": "C1 65 W"}
    with pytest.raises(IntegrityError), transaction.atomic():
        LabelClaim.objects.create(adapter=adapter, **{**whole, **facts})


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"voltage_min_v": 15.0}, "both ends of the voltage range"),
        ({"voltage_max_v": 20.0}, "both ends of the voltage range"),
        ({"voltage_min_v": 20.0, "voltage_max_v": 15.0}, "from its lower to its higher end"),
        ({"voltage_min_v": 0.0, "voltage_max_v": 15.0}, "above 0 V"),
        ({"battery_wh": 0.0}, "Battery and power"),
        ({"name": "hayrick LAPTOP"}, "A device is called “Hayrick laptop” already"),
    ],
)
def test_facts_of_a_device_that_contradict_each_other_are_refused(
    facts: dict[str, object], sentence: str
) -> None:
    save_device(Device(name="Hayrick laptop"))
    with pytest.raises(ValidationError, match=sentence):
        save_device(Device(**{"name": "Otterling phone", **facts}))


def test_a_device_may_take_its_highest_power_at_one_voltage_only() -> None:
    save_device(Device(name="Otterling phone", voltage_min_v=9.0, voltage_max_v=9.0))

    assert Device.objects.get().voltage_max_v == 9.0
