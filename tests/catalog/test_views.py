"""The page on which an adapter is written down, for every role."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from catalog.models import Adapter
from tests.catalog.test_forms import resent, sent
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

ADD = reverse("adapter-add")


@pytest.mark.parametrize("address", [ADD, reverse("adapter-edit", args=["northfold-solo-65"])])
def test_writing_needs_an_account_of_the_right_role(
    client: Client, person: Callable[[str], User], address: str
) -> None:
    make_adapter()

    assert client.get(address).headers["Location"] == f"{reverse('sign-in')}?next={address}"
    client.force_login(person("reader"))
    assert client.get(address).status_code == 403
    for role in ("reviewer", "editor"):
        client.force_login(person(role))
        assert client.get(address).status_code == 200


def test_a_new_adapter_is_saved_and_shown(client: Client, reviewer: User) -> None:
    client.force_login(reviewer)

    answer = client.post(ADD, sent())

    adapter = Adapter.objects.get()
    assert answer.status_code == 302
    assert answer.headers["Location"] == adapter.get_absolute_url()
    assert adapter.ports.get().label == "C1"


def test_a_refused_form_comes_back_filled_in_and_writes_nothing(
    client: Client, reviewer: User
) -> None:
    client.force_login(reviewer)

    answer = client.post(ADD, sent(mains_min_v="100", model_number="NF-XYZ"))

    assert answer.status_code == 400
    assert "Nothing was kept." in answer.text
    assert 'value="NF-XYZ"' in answer.text
    assert not Adapter.objects.exists()


def test_a_name_taken_already_writes_down_no_maker_either(client: Client, reviewer: User) -> None:
    make_adapter("Duo 65")
    client.force_login(reviewer)

    answer = client.post(ADD, sent())

    assert answer.status_code == 400
    assert "Northfold has an adapter called Duo 65 already." in answer.text
    assert Adapter.objects.count() == 1


@pytest.mark.parametrize("data", [{}, {"ports-TOTAL_FORMS": "9999999"}, {"name": "\x00"}])
def test_a_form_that_no_browser_would_send_is_a_400(
    client: Client, reviewer: User, data: dict[str, str]
) -> None:
    client.force_login(reviewer)

    assert client.post(ADD, data).status_code == 400


def test_an_edit_is_saved(client: Client, editor: User) -> None:
    adapter = make_adapter()
    client.force_login(editor)

    answer = client.post(reverse("adapter-edit", args=[adapter.slug]), resent(adapter, mass_g="95"))

    assert answer.status_code == 302
    adapter.refresh_from_db()
    assert adapter.mass_g == 95.0


def test_an_adapter_that_is_not_there_is_a_404(client: Client, editor: User) -> None:
    client.force_login(editor)

    assert client.get(reverse("adapter-edit", args=["nothing"])).status_code == 404
