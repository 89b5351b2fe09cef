"""The list of adapters, and the filters that it shares with rankings, files and the API."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from catalog.actions import PortFacts
from catalog.models import Adapter
from comparisons.forms.filters import NarrowingForm
from comparisons.queries.cohorts import Filters
from measurements.actions import withdraw_run
from tests.comparisons.populations import stand
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted

pytestmark = pytest.mark.django_db

LIST = reverse("adapter-list")


def embargoed(name: str = "Secret 100") -> Adapter:
    return make_adapter(name, publish_on=timezone.now().date() + timedelta(days=30))


def test_the_list_names_maker_rating_and_ports(client: Client) -> None:
    make_adapter("Solo 65", model_number="NF-65")

    page = client.get(LIST)

    assert page.status_code == 200
    for words in ("Northfold Solo 65", "NF-65", "1 USB-C", "1 adapter;"):
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
        ({"power_min": "100", "power_max": "60"}, "from its lower to its higher end"),
        ({"maker": "nobody"}, "No maker with a public adapter has that name."),
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


# Words by the layout of USB PD R3.2, "Fixed Supply PDO – Source": bits 19..10 hold the voltage
# in 50 mV, bits 9..0 the current in 10 mA; and "SPR PPS": bits 24..17 and 15..8 hold the highest
# and lowest voltage in 100 mV.
FIXED_5_V = f"0x{5 * 20 << 10 | 300:08X}"
FIXED_20_V = f"0x{20 * 20 << 10 | 325:08X}"
FIXED_28_V = f"0x{28 * 20 << 10 | 500:08X}"
PPS_5_TO_11_V = f"0x{0b1100 << 28 | 110 << 17 | 50 << 8 | 60:08X}"


def scanned(name: str, *words: str, by: User, **facts: Any) -> Adapter:
    """An adapter whose one port was found to send these words."""
    adapter = make_adapter(name, **facts)
    rows = [f"C1,{place},{word}" for place, word in enumerate(words, start=1)]
    content = "\n".join(["port,position,word", *rows, ""]).encode()
    accepted(adapter, content, kind="port-scan", by=by, mains_v=None)
    return adapter


def named(**asked: Any) -> list[str]:
    return sorted(
        Filters(**asked).adapters_among(Adapter.objects.all()).values_list("name", flat=True)
    )


def test_a_profile_is_what_a_scan_that_stands_reaches(editor: User) -> None:
    scanned("Low 1", FIXED_5_V, PPS_5_TO_11_V, by=editor)
    high = scanned("High 1", FIXED_5_V, FIXED_20_V, FIXED_28_V, by=editor)
    make_adapter("Unscanned 1")

    assert named(profile_v=5.0) == ["High 1", "Low 1"]
    assert named(profile_v=28.0) == ["High 1"]
    # Between fixed voltages there is nothing; a programmable object reaches all it spans.
    assert named(profile_v=12.0) == []
    assert [named(profile_v=at) for at in (5.0, 7.3, 11.0, 11.1)] == [
        ["High 1", "Low 1"],
        ["Low 1"],
        ["Low 1"],
        [],
    ]
    # What is taken back is taken back here too, and what comes in comes in.
    withdraw_run(high.runs.get(), by=editor, reason="The cable was of another kind.")
    assert named(profile_v=28.0) == []
    scanned("High 2", FIXED_5_V, FIXED_28_V, by=editor)
    assert named(profile_v=28.0) == ["High 2"]


FACTS: dict[str, dict[str, Any]] = {
    "Solo 65": {"released_on": "2024-03-01", "price": "39.90", "currency": "EUR"},
    "Duo 140": {
        "rated_power_w": 140.0,
        "ports": (PortFacts("C1", "usb-c"), PortFacts("A1", "usb-a")),
        "released_on": "2025-12-31",
        "price": "89.00",
        "currency": "EUR",
        "enclosure": "metal",
    },
    "Quad 100": {
        "rated_power_w": 100.0,
        "ports": tuple(PortFacts(f"C{number}", "usb-c") for number in range(1, 5)),
        "released_on": "2025-01-01",
        "price": "60.00",
        "currency": "USD",
    },
    "Plain 20": {"maker": "Kestrel", "rated_power_w": 20.0},
}


@pytest.mark.parametrize(
    ("query", "expected", "words"),
    [
        ("power_min=65", ["Duo 140", "Quad 100", "Solo 65"], "rated 65 W or more"),
        ("power_max=65", ["Plain 20", "Solo 65"], "rated 65 W or less"),
        ("power_min=65&power_max=100", ["Quad 100", "Solo 65"], "rated 65 to 100 W"),
        ("ports_min=2", ["Duo 140", "Quad 100"], "with at least 2 ports"),
        ("connector=usb-a", ["Duo 140"], "with a USB-A port"),
        (
            "ports_min=2&connector=usb-c",
            ["Duo 140", "Quad 100"],
            "with at least 2 ports and a USB-C port",
        ),
        ("enclosure=metal", ["Duo 140"], "in metal"),
        ("maker=kestrel", ["Plain 20"], "of Kestrel"),
        ("year_min=2025", ["Duo 140", "Quad 100"], "released in 2025 or later"),
        ("year_max=2024", ["Solo 65"], "released in 2024 or earlier"),
        ("year_min=2025&year_max=2025", ["Duo 140", "Quad 100"], "released in 2025"),
        ("price_max=70&currency=eur", ["Solo 65"], "priced 70 EUR or less"),
        ("price_min=39.9&price_max=89&currency=EUR", ["Duo 140", "Solo 65"], "39.9 to 89 EUR"),
        ("currency=USD", ["Quad 100"], "priced in USD"),
        ("profile_v=28+V", ["Duo 140"], "advertising 28 V"),
        ("power_min=100&profile_v=28", ["Duo 140"], "rated 100 W or more, advertising 28 V"),
    ],
)
def test_page_file_list_and_api_narrow_alike_and_say_so(
    client: Client, editor: User, query: str, expected: list[str], words: str
) -> None:
    for name, facts in FACTS.items():
        if name == "Duo 140" and "profile" in query:
            adapter = scanned(name, FIXED_5_V, FIXED_28_V, by=editor, **facts)
        else:
            adapter = make_adapter(name, **facts)
        stand(adapter, 0.05)

    page = client.get(f"/rankings/no-load-power/?{query}").text
    rows = csv.DictReader(
        io.StringIO(client.get(f"/rankings/no-load-power.csv?{query}").content.decode())
    )
    link = re.search(r'href="(/api/v1/rankings/[^"]+)"', page)
    assert link is not None
    answer = client.get(link.group(1).replace("&amp;", "&")).json()
    listed = client.get(f"{LIST}?{query}").text

    assert words in page
    assert words in listed
    assert sorted(row["name"] for row in rows) == expected
    slugs = sorted(row["adapter"] for row in answer["results"])
    assert slugs == sorted(Adapter.objects.filter(name__in=expected).values_list("slug", flat=True))
    for name in FACTS:
        assert (f" {name}</a>" in listed) == (name in expected)
        assert (f" {name}</a>" in page) == (name in expected)


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("price_max=70", "Say in which currency the price is"),
        ("price_max=70&currency=%E2%82%AC", "Give three letters of ISO 4217"),
        ("price_min=90&price_max=70&currency=EUR", "from its lower to its higher end"),
        ("profile_v=high", "Write a voltage such as 28 V."),
        ("profile_v=0", "greater than or equal to 1"),
        ("year_min=2026&year_max=2024", "from its lower to its higher end"),
        ("year_min=12", "greater than or equal to 1996"),
        ("enclosure=paper", "paper is not one of the available choices"),
        ("connector=%00", "is not one of the available choices"),
    ],
)
def test_a_filter_that_means_nothing_is_named_on_every_page(
    client: Client, query: str, sentence: str
) -> None:
    make_adapter()

    for address in (LIST, "/rankings/no-load-power/"):
        answer = client.get(f"{address}?{query}")
        assert answer.status_code == 400
        assert sentence in answer.text
        assert "Northfold Solo 65</a>" not in answer.text


def test_the_api_asks_for_the_currency_of_a_price(client: Client) -> None:
    for address in ("/api/v1/adapters/", "/api/v1/rankings/no-load-power/"):
        answer = client.get(f"{address}?price_max=70")
        assert answer.status_code == 400
        assert answer.json()["errors"][0]["field"] == "currency"
        assert client.get(f"{address}?currency=eur").status_code == 400


def test_the_api_lists_adapters_by_the_same_filters(client: Client) -> None:
    for name, facts in FACTS.items():
        make_adapter(name, **facts)

    for query, expected in (
        ("connector=usb-a", ["northfold-duo-140"]),
        ("enclosure=metal&year_min=2025", ["northfold-duo-140"]),
        ("price_max=70&currency=EUR", ["northfold-solo-65"]),
        ("year_max=2024", ["northfold-solo-65"]),
    ):
        answer = client.get(f"/api/v1/adapters/?{query}").json()
        assert [row["slug"] for row in answer["results"]] == expected


def test_a_maker_of_embargoed_adapters_alone_is_not_offered(client: Client, editor: User) -> None:
    make_adapter("Secret 1", maker="Hushford", publish_on=timezone.now().date() + timedelta(days=9))

    assert "Hushford" not in client.get(LIST).text
    assert client.get(LIST, {"maker": "hushford"}).status_code == 400
    client.force_login(editor)
    assert client.get(LIST, {"maker": "hushford"}).status_code == 200


def test_a_profile_filter_takes_as_many_queries_for_many_scans_as_for_one(
    client: Client, editor: User
) -> None:
    counts = []
    for start, stop in ((0, 1), (1, 6)):
        for number in range(start, stop):
            scanned(f"High {number}", FIXED_5_V, FIXED_28_V, by=editor)
        for _ in range(2):
            with CaptureQueriesContext(connection) as captured:
                assert f"{stop} adapter" in client.get(LIST, {"profile_v": "28"}).text
        counts.append(len(captured))
    assert counts[0] == counts[1]


@pytest.mark.parametrize("asked", ["65.00001", "64.9999999", "100", "0.1"])
def test_an_address_of_the_same_view_keeps_every_digit_of_a_filter(asked: str) -> None:
    form = NarrowingForm({"power_min": asked}, viewer=None)
    assert form.is_valid()
    assert form.filter_query == {"power_min": asked}
