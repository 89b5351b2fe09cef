"""The catalogue behind the counter."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from catalog.actions import PortFacts
from catalog.models import Adapter, Device
from measurements.models import Value
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper(client: Client) -> Client:
    """A client signed in as a superuser."""
    client.force_login(User.objects.create_superuser("keeper"))
    return client


@pytest.mark.parametrize("model", ["maker", "adapter", "unit", "protocol", "device"])
def test_every_list_opens(keeper: Client, model: str) -> None:
    make_adapter()

    assert keeper.get(reverse(f"admin:catalog_{model}_changelist")).status_code == 200
    assert keeper.get(reverse(f"admin:catalog_{model}_add")).status_code == 200


def test_an_adapter_saved_there_gets_its_slug_and_what_follows_from_its_facts(
    keeper: Client,
) -> None:
    maker = make_adapter().maker
    answer = keeper.post(
        reverse("admin:catalog_adapter_add"),
        {
            "maker": maker.pk,
            "name": "Duo 100",
            "rated_power_w": "100",
            "supply": "adaptive",
            "enclosure": "plastic",
            "mass_g": "200",
            "ports-TOTAL_FORMS": "1",
            "ports-INITIAL_FORMS": "0",
            "ports-0-label": "C1",
            "ports-0-connector": "usb-c",
            "ports-0-position": "0",
            "claims-TOTAL_FORMS": "0",
            "claims-INITIAL_FORMS": "0",
        },
    )

    assert answer.status_code == 302, answer.text
    adapter = Adapter.objects.get(slug="northfold-duo-100")
    assert adapter.ports.get().label == "C1"
    assert Value.objects.current().get(adapter=adapter, metric="specific-power").value == 0.5


def test_claims_and_devices_are_checked_there_as_everywhere(keeper: Client) -> None:
    adapter = make_adapter(ports=(PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c")))
    first, second = adapter.ports.order_by("position")
    data = {
        **{"maker": adapter.maker_id, "name": adapter.name, "rated_power_w": "65"},
        **{"supply": "adaptive", "enclosure": "plastic"},
        **{"ports-TOTAL_FORMS": "2", "ports-INITIAL_FORMS": "2"},
        **{
            f"ports-{row}-{name}": value
            for row, port in enumerate((first, second))
            for name, value in {
                **{"id": port.pk, "adapter": adapter.pk, "label": port.label},
                **{"connector": "usb-c", "position": port.position},
            }.items()
        },
        **{"claims-TOTAL_FORMS": "1", "claims-INITIAL_FORMS": "0"},
        **{"claims-0-adapter": adapter.pk, "claims-0-port": first.pk},
        **{"claims-0-text": "C1 45 W", "claims-0-power_w": "45"},
    }
    address = reverse("admin:catalog_adapter_change", args=[adapter.pk])

    refused = keeper.post(address, {**data, "claims-0-combination": "C1+C9"})
    assert "No port is labelled “C9”." in refused.text
    assert keeper.post(address, {**data, "claims-0-combination": "c1 + c2"}).status_code == 302
    assert adapter.claims.get().combination == "C1+C2"

    device = {"name": "Otterling phone", "slug": "otterling-phone", "voltage_min_v": "9"}
    address = reverse("admin:catalog_device_add")
    assert "Give both ends of the voltage range" in keeper.post(address, device).text
    assert keeper.post(address, {**device, "voltage_max_v": "9"}).status_code == 302
    assert Device.objects.get().voltage_max_v == 9.0


def test_editors_may_enter_and_readers_may_not(client: Client, editor: User) -> None:
    address = reverse("admin:catalog_adapter_changelist")
    assert client.get(address).status_code == 302

    client.force_login(editor)
    assert client.get(address).status_code == 200
