"""The page of a method: versions that were in use, and the cohort of today."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from measurements.kinds import all_kinds
from measurements.models import Ledger, Value
from tests.comparisons.populations import stand, standby_population
from tests.factories.catalog import make_adapter
from tests.factories.result_tables import accepted_table, standby_table

pytestmark = pytest.mark.django_db

PAGE = "/methods/no-load/"


def text_of(client: Client, address: str = PAGE) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", client.get(address).text).split())


def test_a_method_without_values_says_so(client: Client) -> None:
    page = text_of(client)
    assert "1.0, present; no value has stood yet" in page
    assert "no adapter has a comparable value yet" in page


def test_the_cohort_of_today_is_that_of_the_ranking(client: Client) -> None:
    standby_population({"Solo 1": 0.05, "Solo 2": 0.06, "Solo 3": 0.09})
    page = client.get(PAGE).text
    assert "3 adapters, 230 V mains</a>: median" in page
    assert "0.0600 W" in page
    link = re.search(r'href="(/rankings/no-load-power/[^"]*)"', page)
    assert link is not None
    assert "Median 0.0600 W" in text_of(client, link.group(1))


def test_results_from_tables_count_where_the_ranking_counts_them(
    client: Client, editor: User, settings: Any
) -> None:
    standby_population({"Solo 1": 0.05})
    make_adapter("Old 1")
    accepted_table(standby_table(("northfold-old-1", 0.03, None)), by=editor)
    assert "1 adapter, 230 V mains" in client.get(PAGE).text
    settings.COUNT_TABLES = True
    assert "2 adapters, 230 V mains" in client.get(PAGE).text


def test_versions_tell_since_when_and_until_when_their_values_stood(client: Client) -> None:
    adapters = standby_population({"Solo 1": 0.05, "Solo 2": 0.06})
    now = timezone.now()
    Value.objects.filter(adapter=adapters["Solo 1"]).update(
        method="0.9", current_from=now - timedelta(days=60), current_until=now - timedelta(days=5)
    )
    Value.objects.filter(adapter=adapters["Solo 2"]).update(current_from=now - timedelta(days=5))
    Ledger.turn()
    page = text_of(client)
    began, ended = ((now - timedelta(days=days)).strftime("%-d %b %Y") for days in (60, 5))
    assert f"1.0, present: {ended} to today, 1 value stands" in page
    assert f"0.9: {began} to {ended}, none stands any more" in page
    assert page.index("1.0, present") < page.index("0.9:")


def test_what_is_under_embargo_counts_for_those_who_work_on_it_only(
    client: Client, editor: User
) -> None:
    secret = make_adapter("Secret 1", publish_on=timezone.now().date() + timedelta(days=9))
    stand(secret, 0.05)
    assert "no value has stood yet" in text_of(client)
    client.force_login(editor)
    assert "1 value stands" in text_of(client)


def test_the_page_takes_as_many_queries_for_many_adapters_as_for_few(client: Client) -> None:
    counts = []
    for start, stop in ((0, 2), (2, 12)):
        standby_population({f"Solo {number}": 0.05 + number for number in range(start, stop)})
        with CaptureQueriesContext(connection) as captured:
            client.get(PAGE)
        counts.append(len(captured))
    assert counts[0] == counts[1]


@pytest.mark.parametrize("kind", [kind.slug for kind in all_kinds()])
def test_every_method_has_its_uncertainty_budget_and_its_formulas(
    client: Client, kind: str
) -> None:
    page = client.get(f"/methods/{kind}/").text
    assert page.count('id="uncertainty"') == 1
    assert 'href="#uncertainty"' in page
    assert "<math" in page
    assert 'href="/methods/glossary/"' in page


def test_the_glossary_names_the_work_behind_every_term_of_a_standard(client: Client) -> None:
    page = client.get("/methods/glossary/").text
    for words in ("Near tie", "Expanded uncertainty, U", "JCGM 100", "IEC 62301", 'id="epr"'):
        assert words in page
    assert 'href="/methods/glossary/"' in client.get("/methods/").text


def test_what_follows_from_the_catalogue_has_its_cohort_too(client: Client) -> None:
    make_adapter("Solo 1", length_mm=60.0, width_mm=60.0, height_mm=30.0)
    page = text_of(client, "/methods/")
    assert page.count("1 adapter, no condition : median") == 2
    assert "median 0.60 W/cm³" in page  # 65 W in 60 mm × 60 mm × 30 mm
