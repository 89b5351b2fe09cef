"""The first page: what each new run is known for, and leaders that cannot be told apart."""

from __future__ import annotations

import html
import re

import pytest
from django.contrib.auth.models import User
from django.test import Client

from catalog.actions import PortFacts
from comparisons.queries.cohorts import remembered
from measurements.actions import withdraw_run
from measurements.kinds import all_metrics
from tests.comparisons.populations import stand, standby_population
from tests.comparisons.test_filters import FIXED_5_V, FIXED_20_V, scanned
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log

pytestmark = pytest.mark.django_db

SHARED = b"combination,port,voltage_v,current_a\nC1+C2,C1,20,3.25\nC1+C2,C2,9,2\n"


def text_of(client: Client) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", client.get("/").text)).split())


def test_each_new_run_stands_with_what_it_is_known_for(client: Client, editor: User) -> None:
    two = (PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c"))
    accepted(make_adapter("Solo 65"), no_load_log(0.05), by=editor)
    accepted(make_adapter("Duo 90", ports=two), SHARED, kind="sharing", by=editor)
    scanned("High 65", FIXED_5_V, FIXED_20_V, by=editor)
    page = text_of(client)
    newest = page[page.index("Newest accepted runs") :]
    assert re.search(r"Solo 65 Standby at 230 V 0\.0500 ± [\d.]+ W standby power", newest)
    for found, key, where in (
        (r"Duo 90 Power sharing at 230 V 83\.0 ± [\d.]+ W", "sharing-total", ""),
        (r"High 65 Port scan 65\.0 ± [\d.]+ W", "top-pdo-power", ", C1"),
    ):
        title = all_metrics()[key].title
        assert re.search(f"{found} {title[0].lower()}{title[1:]}{where} ", newest), newest


def test_leaders_that_cannot_be_told_apart_say_so(client: Client) -> None:
    standby_population({"Solo 1": 0.05, "Solo 2": 0.0505, "Solo 3": 0.09})
    page = text_of(client)
    assert "Solo 1 0.0500 ± 0.0010 W not to be told apart from 1 other" in page
    assert "Solo 3 0.0900 ± 0.0010 W Newest" in page


def test_what_was_taken_back_is_counted_no_more(client: Client, editor: User) -> None:
    run = accepted(make_adapter("Solo 1"), no_load_log(0.05), by=editor)
    accepted(make_adapter("Solo 2"), no_load_log(0.06), by=editor)
    assert "2 USB power adapters of 1 maker, in 2 accepted runs" in text_of(client)
    withdraw_run(run, by=editor, reason="A lead was loose.")
    assert "1 USB power adapter of 1 maker, in 1 accepted run" in text_of(client)
    remembered.clear()
    assert "1 USB power adapter of 1 maker, in 1 accepted run" in text_of(client)


def test_the_first_page_leads_to_the_search_and_the_filters(client: Client) -> None:
    page = client.get("/").text
    main = page[page.index("<main") :]
    assert re.search(r'<form class="find" role="search" action="/search/"', main)
    assert 'href="/adapters/?profile_v=28"' in main


def test_a_new_value_that_is_not_comparable_says_so(client: Client) -> None:
    stand(make_adapter("Solo 1"), 0.05, apart="The mains was at 250 V.")
    assert "0.0500 ± 0.0010 W standby power, not comparable" in text_of(client)
