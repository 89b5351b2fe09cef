"""Reference devices over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from rest_framework.test import APIClient

from catalog.actions import save_device
from catalog.models import Device
from tests.factories.api import client_of, faulty_fields, walk

pytestmark = pytest.mark.django_db

LIST = "/api/v1/devices/"
LAPTOP = {
    "name": "Hayrick laptop",
    "kind": "laptop",
    "battery_wh": 53,
    "max_power_w": 65,
    "voltage_min_v": 15,
    "voltage_max_v": 20,
}


@pytest.fixture
def writer(reviewer: User) -> APIClient:
    return client_of(reviewer)


def test_a_device_is_written_and_read_back_by_everybody(writer: APIClient) -> None:
    answer = writer.post(LIST, LAPTOP, format="json")

    assert answer.status_code == 201
    assert answer.json() == {"slug": "hayrick-laptop", **LAPTOP}
    assert client_of(None).get(LIST).json() == {"results": [answer.json()], "next": None}


def test_a_name_alone_makes_a_device_and_a_slug_may_be_chosen(writer: APIClient) -> None:
    answer = writer.post(LIST, {"name": "Otterling phone", "slug": "phone"}, format="json")

    assert answer.json() == {
        **{"slug": "phone", "name": "Otterling phone", "kind": ""},
        **{"battery_wh": None, "max_power_w": None},
        **{"voltage_min_v": None, "voltage_max_v": None},
    }


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": None}, "name"),
        ({"name": "Otterling Phone"}, "name"),
        ({"slug": "otterling-phone"}, "slug"),
        ({"slug": "a b"}, "slug"),
        ({"slug": ""}, "slug"),
        ({"kind": 5}, "kind"),
        ({"battery_wh": 0}, "battery_wh"),
        ({"battery_wh": "53"}, "battery_wh"),
        ({"max_power_w": -1}, "max_power_w"),
        ({"voltage_min_v": None}, "body"),
        ({"voltage_max_v": None}, "body"),
        ({"voltage_min_v": 21}, "body"),
        ({"voltage_min_v": 0}, "voltage_min_v"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_wrong_body_is_refused_by_field_and_nothing_is_written(
    writer: APIClient, wrong: dict[str, Any], field: str
) -> None:
    save_device(Device(name="Otterling phone"))

    assert field in faulty_fields(writer.post(LIST, {**LAPTOP, **wrong}, format="json"))
    assert Device.objects.count() == 1


def test_pages_follow_the_slug(writer: APIClient) -> None:
    for name in ("Otter", "Heron", "Kestrel"):
        save_device(Device(name=name))

    seen = [row["slug"] for row in walk(writer, f"{LIST}?limit=1")]

    assert seen == ["heron", "kestrel", "otter"]
    assert faulty_fields(writer.get(f"{LIST}?kind=phone")) == {"kind"}
