"""Fact sheets as pages and files: addresses, links, refusals, and their cost."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.html import escape
from pytest_django.fixtures import Settings

from comparisons.facts.order import completed
from tests.comparisons.facts.bench import fact_bench
from tests.comparisons.populations import standby_population
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

PAGE = "/adapters/northfold-trio-100/facts/"


def test_page_text_and_markdown_say_the_same_sentences(client: Client) -> None:
    fact_bench()
    page = client.get(PAGE).text
    text, marked = client.get(f"{PAGE[:-1]}.txt"), client.get(f"{PAGE[:-1]}.md")
    assert text["Content-Type"] == "text/plain; charset=utf-8"
    # RFC 7763 registers the type.
    assert marked["Content-Type"] == "text/markdown; charset=utf-8"
    assert text["Content-Disposition"].endswith('filename="northfold-trio-100-facts.txt"')
    facts = re.findall(r"^- (.*?)(?: \[[^\]]*\])?$", text.text, re.MULTILINE)
    assert len(facts) > 20
    spaced = page.replace("\u00a0", " ")
    shown = [
        " ".join(re.sub(r"</?em>", "", item).split())
        for item in re.findall(r"<li><p>(.*?)</p>", spaced, re.DOTALL)
    ]
    assert shown == [str(escape(fact)) for fact in facts]
    assert len(re.findall(r"^- ", marked.text, re.MULTILINE)) == len(facts)
    # The copies on the page are the files.
    copies = re.findall(r'<pre class="sheet-copy"[^>]*>(.*?)</pre>', page, re.DOTALL)
    assert copies == [str(escape(text.text)), str(escape(marked.text))]


def test_addresses_in_the_text_are_whole_and_lead_somewhere(client: Client) -> None:
    fact_bench()
    text = client.get(f"{PAGE[:-1]}.txt").text
    addresses = set(re.findall(r"https?://testserver(/[^\s\];]*)", text))
    assert len(addresses) > 5
    assert {client.get(address).status_code for address in addresses} == {200}


def test_the_adapters_page_and_the_comparison_lead_to_their_sheets(client: Client) -> None:
    fact_bench()
    assert f'href="{PAGE}"' in client.get("/adapters/northfold-trio-100/").text


def test_a_bench_sets_the_order(client: Client, settings: Settings) -> None:
    fact_bench()
    settings.FACT_ORDER = completed(["cautions", "heat"])
    titles = re.findall(r"<h2[^>]*>([^<]*)</h2>", client.get(PAGE).text)
    assert titles[:3] == ["Cautions", "Heat", "Identity and size"]


@pytest.mark.parametrize("query", ["?tables=maybe", "?order=heat", "?table=in"])
@pytest.mark.parametrize("suffix", ["/", ".txt", ".md"])
def test_what_a_sheet_does_not_know_is_refused_in_words(
    client: Client, query: str, suffix: str
) -> None:
    fact_bench()
    answer = client.get(f"{PAGE[:-1]}{suffix}{query}")
    assert answer.status_code == 400
    assert "This sheet cannot be shown" in answer.text


def test_who_may_not_know_of_an_adapter_gets_no_sheet(client: Client, editor: User) -> None:
    make_adapter("Secret 1", publish_on=timezone.now().date() + timedelta(days=9))
    for suffix in ("/", ".txt", ".md"):
        address = f"/adapters/northfold-secret-1/facts{suffix}"
        assert client.get(address).status_code == 404
        assert client.get(f"/adapters/nobody/facts{suffix}").status_code == 404
    client.force_login(editor)
    assert "Under embargo until" in client.get("/adapters/northfold-secret-1/facts.txt").text


def test_a_page_takes_as_many_queries_for_thirty_adapters_as_for_three(client: Client) -> None:
    counts = []
    for start, stop in ((0, 3), (3, 30)):
        standby_population({f"Solo {number}": 0.05 + number / 100 for number in range(start, stop)})
        with CaptureQueriesContext(connection) as captured:
            assert client.get("/adapters/northfold-solo-0/facts/").status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]
