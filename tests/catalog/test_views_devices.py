"""Pages of the reference devices."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from catalog.actions import save_device
from catalog.models import Device

pytestmark = pytest.mark.django_db

LIST = reverse("device-list")
ADD = reverse("device-add")
EDIT = reverse("device-edit", args=["hayrick-laptop"])
SENT = {
    "name": "Hayrick laptop",
    "kind": "laptop",
    "battery_wh": "53",
    "max_power_w": "65",
    "voltage_min_v": "15",
    "voltage_max_v": "20",
    "note": "Bought for this bench.",
}


def laptop() -> Device:
    return save_device(Device(name="Hayrick laptop", voltage_min_v=15.0, voltage_max_v=20.0))


def test_everybody_sees_the_devices_and_only_some_may_change_them(
    client: Client, person: Callable[[str], User]
) -> None:
    laptop()

    page = client.get(LIST)
    assert "Hayrick laptop" in page.text
    assert "15 to 20" in page.text
    assert ADD not in page.text
    assert EDIT not in page.text
    client.force_login(person("reviewer"))
    page = client.get(LIST)
    assert ADD in page.text
    assert EDIT in page.text


def test_an_empty_list_says_so_and_the_adapters_link_to_it(client: Client) -> None:
    assert "No reference device has been written down yet." in client.get(LIST).text
    assert f'href="{LIST}"' in client.get(reverse("adapter-list")).text


@pytest.mark.parametrize("address", [ADD, EDIT])
def test_writing_needs_an_account_of_the_right_role(
    client: Client, person: Callable[[str], User], address: str
) -> None:
    laptop()

    assert client.get(address).headers["Location"] == f"{reverse('sign-in')}?next={address}"
    client.force_login(person("reader"))
    assert client.get(address).status_code == 403
    for role in ("reviewer", "editor"):
        client.force_login(person(role))
        assert client.get(address).status_code == 200


def test_a_new_device_is_saved_and_listed(client: Client, reviewer: User) -> None:
    client.force_login(reviewer)

    answer = client.post(ADD, SENT, follow=True)

    assert answer.redirect_chain == [(LIST, 302)]
    assert "Hayrick laptop was saved." in answer.text
    device = Device.objects.get()
    assert (device.slug, device.battery_wh, device.max_power_w) == ("hayrick-laptop", 53.0, 65.0)
    assert (device.voltage_min_v, device.voltage_max_v) == (15.0, 20.0)


def test_a_changed_device_keeps_its_slug(client: Client, reviewer: User) -> None:
    laptop()
    client.force_login(reviewer)

    client.post(EDIT, {**SENT, "name": "Hayrick light laptop"})

    device = Device.objects.get()
    assert (device.slug, device.name) == ("hayrick-laptop", "Hayrick light laptop")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"name": ""}, "This field is required."),
        ({"name": "OTTERLING PHONE"}, "A device is called “Otterling phone” already."),
        ({"battery_wh": "0"}, "Battery and power are greater than 0."),
        ({"battery_wh": "1e999"}, "Enter a number."),
        ({"voltage_max_v": ""}, "Give this too, or clear"),
        ({"voltage_min_v": "25"}, "from its lower to its higher end"),
        ({"name": "\x00"}, "Null characters are not allowed."),
    ],
)
def test_a_refused_device_comes_back_filled_in_and_is_not_written(
    client: Client, reviewer: User, changes: dict[str, str], sentence: str
) -> None:
    save_device(Device(name="Otterling phone"))
    client.force_login(reviewer)

    answer = client.post(ADD, {**SENT, **changes})

    assert answer.status_code == 400
    assert sentence in answer.text
    assert "Bought for this bench." in answer.text
    assert Device.objects.count() == 1


def test_a_device_that_is_not_there_is_a_404(client: Client, reviewer: User) -> None:
    client.force_login(reviewer)

    assert client.get(reverse("device-edit", args=["nothing"])).status_code == 404
