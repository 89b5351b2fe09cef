"""Writing to the catalogue: slugs, makers, ports that runs refer to, the word sent upward."""

from __future__ import annotations

from typing import Any

import pytest
from django.db.models import ProtectedError

from catalog.actions import (
    ClaimFacts,
    PortFacts,
    free_slug,
    get_maker,
    get_unit,
    save_adapter,
    save_device,
)
from catalog.models import Adapter, Device, Maker
from catalog.signals import adapter_saved
from tests.factories.catalog import make_adapter
from tests.factories.measurements import receive

pytestmark = pytest.mark.django_db


def test_a_slug_that_is_taken_is_numbered() -> None:
    assert free_slug("Solo 65", taken=[]) == "solo-65"
    assert free_slug("Solo 65", taken=["solo-65", "solo-65-2"]) == "solo-65-3"
    assert free_slug("###", taken=[]) == "adapter"


def test_adapters_whose_names_make_the_same_slug_get_two() -> None:
    first, second = make_adapter("Solo 65"), make_adapter("Solo-65")

    assert first.slug == "northfold-solo-65"
    assert second.slug == "northfold-solo-65-2"


def test_a_slug_stays_when_the_name_changes() -> None:
    adapter = make_adapter("Solo 65")
    adapter.name = "Solo 67"

    assert save_adapter(adapter).slug == "northfold-solo-65"


def test_a_maker_is_found_again_whatever_its_case_and_spaces() -> None:
    assert get_maker("North  Fold") == get_maker("north fold ")
    assert Maker.objects.count() == 1


def test_ports_are_matched_by_label_so_that_runs_keep_theirs() -> None:
    adapter = make_adapter(ports=(PortFacts("C1", "usb-c", 65.0), PortFacts("C2", "usb-c")))
    first = adapter.ports.get(label="C1")

    save_adapter(adapter, ports=[PortFacts("A1", "usb-a"), PortFacts("C1", "usb-c", 60.0)])

    assert list(adapter.ports.order_by("position").values_list("label", flat=True)) == ["A1", "C1"]
    kept = adapter.ports.get(label="C1")
    assert kept.pk == first.pk
    assert kept.rated_power_w == 60.0


def test_a_port_with_runs_cannot_be_taken_away_and_nothing_else_changes() -> None:
    adapter = make_adapter()
    receive(adapter, port=adapter.ports.get())
    adapter.name = "Changed"

    with pytest.raises(ProtectedError):
        save_adapter(adapter, ports=[])

    assert Adapter.objects.get().name == "Solo 65"
    assert adapter.ports.count() == 1


def test_claims_replace_the_earlier_ones_and_find_their_port() -> None:
    adapter = make_adapter(claims=(ClaimFacts("old"),))

    save_adapter(adapter, claims=[ClaimFacts("20 V 3.25 A", "C1", 20.0, 3.25), ClaimFacts("new")])

    assert [(claim.text, str(claim.port)) for claim in adapter.claims.order_by("pk")] == [
        ("20 V 3.25 A", "C1"),
        ("new", "None"),
    ]


def test_whoever_listens_hears_of_every_saved_adapter() -> None:
    heard: list[Adapter] = []

    def listen(adapter: Adapter, **_: Any) -> None:
        heard.append(adapter)

    adapter_saved.connect(listen)
    try:
        adapter = make_adapter()
    finally:
        adapter_saved.disconnect(listen)

    assert heard == [adapter]


def test_a_unit_is_written_down_once() -> None:
    adapter = make_adapter()

    assert get_unit(adapter, serial="") == get_unit(adapter, serial="1")
    assert get_unit(adapter, serial="2").serial == "2"
    assert adapter.units.count() == 2


def test_a_device_gets_a_slug_from_its_name_and_keeps_it() -> None:
    device = save_device(Device(name="Hayrick laptop"))
    assert save_device(Device(name="Hayrick-laptop")).slug == "hayrick-laptop-2"
    assert save_device(Device(name="###")).slug == "device"
    assert save_device(Device(name="Other laptop", slug="mine")).slug == "mine"

    device.name = "Hayrick large laptop"
    assert save_device(device).slug == "hayrick-laptop"


def test_a_name_whose_letters_grow_in_a_slug_still_fits() -> None:
    # The ligature is one letter of the name and three of the slug.
    assert len(save_device(Device(name="\ufb03" * 100)).slug) <= 100
    assert len(get_maker("\ufb03" * 100).slug) <= 100
