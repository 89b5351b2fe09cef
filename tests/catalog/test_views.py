"""The list of adapters and the page on which one is written down, for every role."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from catalog.models import Adapter
from tests.catalog.test_forms import resent, sent
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

LIST, ADD = reverse("adapter-list"), reverse("adapter-add")


def embargoed(name: str = "Secret 100") -> Adapter:
    return make_adapter(name, publish_on=timezone.now().date() + timedelta(days=30))


def test_the_list_names_maker_rating_and_ports(client: Client) -> None:
    make_adapter("Solo 65", model_number="NF-65")

    page = client.get(LIST)

    assert page.status_code == 200
    for words in ("Northfold Solo 65", "NF-65", "1 USB-C", "1 adapter,"):
        assert words in page.text


def test_an_empty_catalogue_says_so(client: Client) -> None:
    assert "No adapter has been written down yet." in client.get(LIST).text


def test_a_filter_that_matches_nothing_offers_the_way_back(client: Client) -> None:
    make_adapter()

    page = client.get(LIST, {"q": "nothing like it"})

    assert page.status_code == 200
    assert "No adapter matches" in page.text


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"power_min": "sixty"}, "Enter a number."),
        ({"power_min": "nan"}, "Enter a number."),
        ({"power_min": "100", "power_max": "60"}, "Give at least 100 W"),
        ({"maker": "nobody"}, "No maker is called “nobody” here."),
        ({"connector": "usb-z"}, "usb-z is not one of the available choices"),
        ({"ports_min": "0"}, "greater than or equal to 1"),
        ({"pwr": "60"}, "This list has no filter “pwr”."),
        ({"page": "2"}, "There is no such page; the last one is 1."),
        ({"page": "x"}, "Enter a whole number."),
    ],
)
def test_a_bad_filter_is_a_400_that_says_which(
    client: Client, query: dict[str, str], words: str
) -> None:
    make_adapter("Solo 65")

    page = client.get(LIST, query)

    assert page.status_code == 400
    assert words in page.text
    assert "Northfold Solo 65" not in page.text


def test_a_filter_value_is_shown_as_text_never_as_markup(client: Client) -> None:
    page = client.get(LIST, {"maker": "<script>alert(1)</script>", "<b>": "1"})

    assert page.status_code == 400
    assert "<script>alert" not in page.text
    assert "<b>" not in page.text


def test_pages_keep_the_filters(client: Client) -> None:
    for number in range(51):
        make_adapter(f"Solo {number:02}")
    make_adapter("Duo 1", maker="Kestrel")

    first = client.get(LIST, {"maker": "northfold"})
    second = client.get(LIST, {"maker": "northfold", "page": "2"})

    assert "?maker=northfold&amp;page=2" in first.text
    assert "Page 1 of 2, 51 adapters" in first.text
    assert "Solo 50" not in first.text
    assert "Solo 50" in second.text
    assert "Kestrel Duo" not in second.text


@pytest.mark.parametrize("rows", [3, 30])
def test_the_list_takes_the_same_few_queries_for_any_number_of_rows(
    client: Client, django_assert_num_queries: Any, rows: int
) -> None:
    for number in range(rows):
        make_adapter(f"Solo {number}", maker=f"Maker {number}")

    # Count, adapters, ports, makers to choose from, notices.
    with django_assert_num_queries(5):
        client.get(LIST)


def test_an_embargoed_adapter_is_for_reviewers_and_editors_only(
    client: Client, person: Callable[[str], User]
) -> None:
    embargoed()

    assert "Secret 100" not in client.get(LIST).text
    client.force_login(person("reader"))
    assert "Secret 100" not in client.get(LIST).text
    client.force_login(person("reviewer"))
    page = client.get(LIST)
    assert "Secret 100" in page.text
    assert "under embargo until" in page.text


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
