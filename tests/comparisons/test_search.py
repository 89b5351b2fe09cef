"""The search page: groups, order, what it keeps back, what it costs."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from catalog.models import Device
from comparisons.queries.search import SHOWN, search
from measurements.kinds import all_kinds, all_metrics
from measurements.standards.glossary import GLOSSARY
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

SEARCH = reverse("search")


def titles(text: str, group: str) -> list[str]:
    found = {item.key: item for item in search(text, viewer=None)}
    return [hit.title for hit in found[group].hits] if group in found else []


def test_one_search_finds_every_sort_of_thing(client: Client) -> None:
    make_adapter("Tablet Charger 30", maker="Tabletop")
    Device.objects.create(name="Tablet 12", slug="tablet-12", kind="tablet")

    page = client.get(SEARCH, {"q": "tablet"}).text

    for words in ("Tabletop Tablet Charger 30", ">Tabletop<", "Tablet 12"):
        assert words in page
    assert "Reference devices" in page
    assert 'href="/adapters/?maker=tabletop"' in page


def test_every_metric_is_found_by_its_title_and_its_key_first() -> None:
    for metric in all_metrics().values():
        assert titles(metric.title, "metrics")[0] == metric.title
        assert titles(metric.key.replace("-", " "), "metrics")[0] == metric.title


def test_every_word_of_the_glossary_and_every_method_is_found() -> None:
    for _, terms in GLOSSARY.items():
        for term in terms:
            assert term.word in titles(term.word, "words")
    for kind in all_kinds():
        assert f"Method: {kind.title}" in titles(kind.title, "words")


def test_every_address_that_is_found_is_there(client: Client) -> None:
    make_adapter("Power 65", maker="Powerfold")
    Device.objects.create(name="Power bank", slug="power-bank")
    page = client.get(SEARCH, {"q": "power"}).text
    links = set(re.findall(r'<ul class="hits">.*?</ul>', page, re.S))
    addresses = {link for part in links for link in re.findall(r'href="([^"]+)"', part)}

    assert len(addresses) > 15
    for address in addresses:
        path, _, anchor = address.partition("#")
        answer = client.get(path.replace("&amp;", "&"))
        assert answer.status_code == 200, address
        assert not anchor or f'id="{anchor}"' in answer.text, address


def test_a_long_group_is_cut_and_leads_to_all_of_it(client: Client) -> None:
    for number in range(SHOWN + 3):
        make_adapter(f"Solo {number}", maker=f"Solomaker {number}")

    page = client.get(SEARCH, {"q": "solo"}).text

    assert f"{SHOWN} of {SHOWN + 3}" in page
    assert f'href="/adapters/?q=solo">All {SHOWN + 3} adapters' in page
    assert f"{SHOWN + 3} adapters, named “solo”" in client.get("/adapters/?q=solo").text
    assert f'href="/search/?q=solo&amp;in=makers">All {SHOWN + 3} makers' in page
    makers = client.get(SEARCH, {"q": "solo", "in": "makers"}).text
    assert all(f"Solomaker {number}" in makers for number in range(SHOWN + 3))
    assert 'id="adapters"' not in makers
    assert "All " not in makers[makers.index('id="makers"') :]


def test_nothing_found_and_nothing_asked_lead_on(client: Client) -> None:
    nothing = client.get(SEARCH, {"q": "qqq zzz"})
    assert nothing.status_code == 200
    assert "Nothing here is called “qqq zzz”" in nothing.text
    bare = client.get(SEARCH)
    assert bare.status_code == 200
    for page in (nothing.text, bare.text):
        for name in ("adapter-list", "ranking-list", "device-list", "method-list", "glossary"):
            assert f'href="{reverse(name)}"' in page[page.index("<main") :]


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("q=%00", "Null characters"),
        ("q=" + "a" * 101, "at most 100 characters"),
        ("in=everywhere", "not one of the available choices"),
        ("query=solo", "“query” is not a filter of this page"),
    ],
)
def test_a_question_that_means_nothing_is_a_400_that_says_why(
    client: Client, query: str, words: str
) -> None:
    answer = client.get(f"{SEARCH}?{query}")
    assert answer.status_code == 400
    assert words in answer.text


@pytest.mark.parametrize("query", ["%", "_", "'; --", "<b>x</b>", "a" * 100, "½²", "\N{SNOWMAN}"])
def test_odd_signs_are_looked_for_and_shown_as_text(client: Client, query: str) -> None:
    make_adapter()
    answer = client.get(SEARCH, {"q": query})
    assert answer.status_code == 200
    assert "<b>x" not in answer.text
    assert "Northfold Solo 65" not in answer.text


def test_what_is_under_embargo_is_found_by_those_who_work_on_it_only(
    client: Client, editor: User
) -> None:
    make_adapter("Secret 1", maker="Hushford", publish_on=timezone.now().date() + timedelta(days=9))
    for asked in ("secret", "hushford"):
        found = client.get(SEARCH, {"q": asked}).text.replace(asked, "")
        assert found == client.get(SEARCH, {"q": "qqqqqq"}).text.replace("qqqqqq", "")
    client.force_login(editor)
    page = client.get(SEARCH, {"q": "hush"}).text
    assert "Hushford Secret 1" in page
    assert "under embargo until" in page
    assert "1 adapter<" in page


def test_every_page_has_the_search(client: Client) -> None:
    for address in ("/", "/methods/", "/sign-in/", "/nowhere/"):
        page = client.get(address).text
        assert re.search(rf'<form class="site-search" role="search" action="{SEARCH}"', page)


def test_a_search_takes_as_many_queries_for_many_things_as_for_few(client: Client) -> None:
    counts = []
    for start, stop in ((0, 2), (2, 12)):
        for number in range(start, stop):
            make_adapter(f"Solo {number}", maker=f"Solomaker {number}")
            Device.objects.create(name=f"Solo device {number}", slug=f"solo-device-{number}")
        client.get(SEARCH, {"q": "solo"})
        with CaptureQueriesContext(connection) as captured:
            client.get(SEARCH, {"q": "solo"})
        counts.append(len(captured))
    assert counts[0] == counts[1]
