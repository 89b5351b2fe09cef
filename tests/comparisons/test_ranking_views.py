"""A ranking as page, CSV, Parquet, JSON and drawing: one and the same, and what the page tells."""

from __future__ import annotations

import csv
import gzip
import html
import io
import random
import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pyarrow import parquet

from catalog.models import Adapter
from measurements.models import Ledger, Run, Value, Verdict
from tests.comparisons.populations import run_of, stand, standby_population
from tests.factories.catalog import make_adapter
from tests.factories.result_tables import accepted_table, standby_table

pytestmark = pytest.mark.django_db

PAGE = "/rankings/no-load-power/"
SPRING = datetime(2026, 3, 1, tzinfo=UTC)
SUMMER = datetime(2026, 6, 1, tzinfo=UTC)

RANKS = ("rank", "rank_low", "rank_high")
_ROW = re.compile(
    r'<tr[^>]*>\s*<td class="number">(?P<rank>\d+)</td>.*?href="/adapters/(?P<adapter>[^/]+)/".*?'
    r'cx="(?P<at>[\d.]+)%".*?<td class="keep">(?P<interval>[\d–]+|<span[^>]*>not stated</span>)',
    re.DOTALL,
)


def links(page: str) -> dict[str, str]:
    """Where the page leads for its other forms."""
    found = re.findall(r'<a href="([^"]+)">(This view as CSV|as Parquet|as JSON)</a>', page)
    return {name: html.unescape(address) for address, name in found}


def page_rows(page: str) -> list[dict[str, Any]]:
    table = page[page.index('<table class="ranking">') : page.index("</table>")]
    rows = []
    for found in _ROW.finditer(table):
        low, _, high = found["interval"].partition("–")
        known = found["interval"][0].isdigit()
        rows.append(
            {
                "rank": int(found["rank"]),
                "adapter": found["adapter"],
                "at": float(found["at"]),
                "rank_low": int(low) if known else None,
                "rank_high": int(high or low) if known else None,
            }
        )
    return rows


def random_site(seed: int, editor: User) -> None:
    """Measured adapters, some level with each other, some re-tested, and some from a table."""
    dice = random.Random(seed)
    for number in range(18):
        adapter = make_adapter(f"Solo {number}", rated_power_w=float(dice.choice([30, 65, 140])))
        early = stand(
            adapter,
            round(dice.uniform(0.03, 0.12), 2),
            standard_uncertainty=dice.choice([0.0, 0.001, 0.01]),
            since=SPRING,
        )
        if dice.random() < 0.3:
            Value.objects.filter(pk=early.pk).update(current_until=SUMMER)
            stand(adapter, round(dice.uniform(0.03, 0.12), 2), since=SUMMER)
    rows: list[tuple[str, float, float | None]] = []
    for number in range(4):
        slug = make_adapter(f"Old {number}").slug
        spread = dice.choice([None, 0.002])
        rows.append((slug, round(dice.uniform(0.03, 0.12), 2), spread))
    accepted_table(standby_table(*rows), by=editor)
    Value.objects.filter(table__isnull=False).update(current_from=SPRING)
    stand(make_adapter("Odd 1"), 0.001, apart="The room was too warm.", since=SPRING)
    stand(make_adapter("Secret 1", publish_on=timezone.now().date() + timedelta(days=9)), 0.02)
    Ledger.turn()


@pytest.mark.parametrize("seed", [1, 2])
def test_page_csv_parquet_json_and_drawing_agree_on_every_rank(
    client: Client, editor: User, seed: int
) -> None:
    random_site(seed, editor)
    sizes = set()
    for query in (
        "",
        "power_min=60",
        "tables=in",
        "power_max=100&tables=in&as_of=2026-04-01",
        "as_of=2026-07-01&maker=northfold",
    ):
        page = client.get(f"{PAGE}?{query}").content.decode()
        shown, forms = page_rows(page), links(page)
        read: list[dict[str, Any]] = list(
            csv.DictReader(io.StringIO(client.get(forms["This view as CSV"]).content.decode()))
        )
        typed = parquet.read_table(io.BytesIO(client.get(forms["as Parquet"]).content)).to_pylist()
        answer = client.get(forms["as JSON"]).json()
        assert answer["next"] is None
        places = [
            [(row["adapter"], row["rank"], row["rank_low"], row["rank_high"]) for row in rows]
            for rows in (shown, typed, answer["results"])
        ]
        for row in read:
            row.update({name: int(row[name]) if row[name] else None for name in RANKS})
        places.append([(row["adapter"], *(row[name] for name in RANKS)) for row in read])
        for each in places[1:]:
            assert each == places[0]
        assert [float(row["value"]) for row in read] == [row["value"] for row in typed]
        assert [row["value"] for row in typed] == [row["value"] for row in answer["results"]]
        assert [row["percentile"] for row in typed] == [
            row["percentile"] for row in answer["results"]
        ]
        # Of the dots, farther left is better, and level is level.
        at = [row["at"] for row in shown]
        assert [row["rank"] for row in shown] == [1 + sum(one < each for one in at) for each in at]
        assert not any("secret" in row["adapter"] or "odd" in row["adapter"] for row in shown)
        marked = shown[len(shown) // 2]
        words = client.get(f"{PAGE}?{query}&mark={marked['adapter']}").content.decode()
        assert f"of {len(shown)}, rank {marked['rank']}:" in words
        sizes.add(len(shown))
    assert len(sizes) > 2


def test_a_row_tells_what_its_value_rests_on(client: Client) -> None:
    adapter = make_adapter("Solo 1")
    early = stand(adapter, 0.08, since=SPRING)
    Value.objects.filter(pk=early.pk).update(current_until=SUMMER)
    late = stand(adapter, 0.07, since=SUMMER)
    Run.objects.filter(pk=run_of(early).pk).update(
        standing=Run.Standing.SUPERSEDED, superseded_by=run_of(late)
    )
    warm = stand(adapter, 0.01, since=SPRING, apart="Too warm.")
    Value.objects.filter(pk=warm.pk).update(current_until=SPRING)
    refused = stand(adapter, 0.02, since=SUMMER, apart="Refused.")
    Run.objects.filter(pk=run_of(refused).pk).update(
        standing=Run.Standing.WITHDRAWN,
        withdrawn_at=SUMMER,
        withdrawn_reason="A lead was loose.",
    )
    assert '<td class="number">1, 2</td>' in client.get(PAGE).content.decode()
    then = client.get(f"{PAGE}?as_of=2026-04-01").content.decode()
    assert '<td class="number">1, 1</td>' in then
    row = next(csv.DictReader(io.StringIO(client.get(f"{PAGE[:-1]}.csv").content.decode())))
    assert (row["units_measured"], row["runs_accepted"]) == ("1", "2")


def test_of_many_that_are_set_apart_the_first_are_listed(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("comparisons.views.rankings.APART_LISTED", 2)
    stand(make_adapter("Solo 1"), 0.05)
    for number in (2, 3, 4):
        stand(make_adapter(f"Warm {number}"), 0.05, apart="Too warm.")
    page = client.get(PAGE).content.decode()
    assert page.count("Too warm.") == 2
    assert "These are the first 2 of 3;" in page
    (address,) = re.findall(r'href="(/api/[^"]+)">JSON of this view', page)
    assert len(client.get(address.replace("&amp;", "&")).json()["not_comparable"]) == 3


def test_who_was_not_tested_is_named_without_a_rank(client: Client) -> None:
    standby_population({"Solo 1": 0.05})
    stand(make_adapter("Odd 1"), 0.01, apart="The room was too warm.")
    for number in range(70):
        make_adapter(f"Untested {number:02}")
    make_adapter("Secret 1", publish_on=timezone.now().date() + timedelta(days=3))
    page = client.get(PAGE).content.decode()
    part = page[page.index('id="not-tested"') : page.index('id="making"')]
    assert "70 adapters, the first 60" in part
    assert re.findall(r"Untested (\d+)</a>", part) == [f"{number:02}" for number in range(60)]
    assert "Secret" not in part
    assert "Odd" not in part
    assert "Solo" not in part
    narrowed = client.get(f"{PAGE}?power_min=100").content.decode()
    assert 'id="not-tested"' not in narrowed


def test_a_view_has_an_address_that_stays_and_a_line_to_cite(client: Client) -> None:
    early = stand(make_adapter("Solo 1"), 0.08, since=SPRING)
    Value.objects.filter(pk=early.pk).update(current_until=SUMMER)
    stand(Adapter.objects.get(), 0.07, since=SUMMER)
    page = client.get(f"{PAGE}?as_of=2026-04-01&power_min=30").content.decode()
    cited = re.search(r'<span id="cite">([^<]+)</span>', page)
    assert cited is not None
    line = html.unescape(cited[1])
    assert "Standby power, 230 V mains; 1 adapter rated 30 W or more" in line
    assert "method version 1.0; as it stood at the end of 2026-04-01" in line
    assert f"(retrieved {timezone.now().date()})" in line
    address = re.search(r"http://testserver(\S+)", line)
    assert address is not None
    assert page_rows(client.get(address[1]).content.decode()) == page_rows(page)
    assert "as_of=2026-04-01" in address[1]
    assert re.search(r'href="\?power_min=30">The current ranking</a>', page)
    today = client.get(PAGE).content.decode()
    assert f"as_of={timezone.now().date()}" in today
    assert "The current ranking" not in today


def test_the_limits_that_most_rows_are_judged_by_are_drawn(client: Client) -> None:
    # Invented limits: what is drawn is what the runs were judged by, whatever that was.
    for number, (scheme, limit) in enumerate(
        [("coc-v5-tier-2", 0.075), ("coc-v5-tier-1", 0.075), ("eu-2019-1782", 0.1)]
    ):
        for name in range(number, 4):
            value = Value.objects.filter(adapter__name=f"Solo {name}", metric="no-load-power")
            if not value.exists():
                stand(make_adapter(f"Solo {name}"), 0.05 + name / 100)
            Verdict.objects.create(
                run=run_of(value.get()),
                scheme=scheme,
                clause="a table",
                quantity="no-load-power",
                condition_key="line=high",
                limit=limit,
                sense="at most",
                value=0.05,
                expanded_uncertainty=0.001,
                margin=0.01,
                outcome="pass",
            )
    page = client.get(PAGE).content.decode()
    assert re.findall(r"<text[^>]* dx=[^>]*>([\d.]+ W)</text>", page) == ["0.075 W", "0.1 W"]
    words = " ".join(page.split())
    assert (
        "0.075 W: CoC v5 Tier 1, CoC v5 Tier 2 (4 of 4 rows); 0.1 W: EU 2019/1782 (2 of 4 rows)."
        in words
    )


def test_a_full_page_keeps_its_budget_and_its_number_of_queries(client: Client) -> None:
    counts = []
    for start, stop in ((0, 3), (3, 101)):
        standby_population(
            {f"Solo {number:03}": 0.05 + number / 5000 for number in range(start, stop)}
        )
        make_adapter(f"Untested {start}")
        client.get(f"{PAGE}?since=2026-01-01")
        with CaptureQueriesContext(connection) as captured:
            page = client.get(f"{PAGE}?since=2026-01-01")
        counts.append(len(captured))
    assert counts[0] == counts[1]
    assert page.content.count(b'class="dot-scale"') == 100
    assert len(gzip.compress(page.content)) < 120 * 1024
