"""The catalogue behind the counter."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from catalog.models import Adapter
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


def test_editors_may_enter_and_readers_may_not(client: Client, editor: User) -> None:
    address = reverse("admin:catalog_adapter_changelist")
    assert client.get(address).status_code == 302

    client.force_login(editor)
    assert client.get(address).status_code == 200
