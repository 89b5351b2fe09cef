"""The first page, an adapter's page, rankings: what is shown, to whom, at what cost."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.html import escape

from catalog.actions import ClaimFacts, PortFacts
from measurements.actions import withdraw_run
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.standards.sources import SOURCES
from tests.comparisons.populations import stand, standby_population
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log

pytestmark = pytest.mark.django_db


def text_of(client: Client, address: str, *, status: int = 200) -> str:
    """The page's words without its tags."""
    response = client.get(address)
    assert response.status_code == status
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def rows_of(client: Client, address: str) -> list[dict[str, str]]:
    response = client.get(address)
    assert response.status_code == 200
    return list(csv.DictReader(io.StringIO(response.content.decode())))


@pytest.fixture
def editor_client(editor: User) -> Client:
    client = Client()
    client.force_login(editor)
    return client


def test_an_empty_bench_says_so(client: Client) -> None:
    assert "no run has been accepted" in text_of(client, "/")
    assert "none yet" in text_of(client, "/rankings/")
    assert "No adapter has an accepted value of this metric yet." in text_of(
        client, "/rankings/no-load-power/"
    )


def test_the_first_page_counts_what_readers_may_know(client: Client, editor_client: Client) -> None:
    standby_population({"Solo 1": 0.05, "Solo 2": 0.06})
    stand(make_adapter("Secret 1", publish_on=timezone.now().date() + timedelta(days=9)), 0.01)
    page = text_of(client, "/")
    assert "2 USB power adapters of 1 maker, in 2 accepted runs since" in page
    assert "Secret" not in page
    assert "3 USB power adapters" in text_of(editor_client, "/")


def test_the_first_page_names_the_leaders_in_order(client: Client) -> None:
    standby_population({"Solo 1": 0.07, "Solo 2": 0.05, "Solo 3": 0.06, "Solo 4": 0.09})
    page = text_of(client, "/")
    leaders = re.findall(r"\d Northfold (Solo \d)", page[page.index("Who leads") :])
    assert leaders[:3] == ["Solo 2", "Solo 3", "Solo 1"]


@pytest.mark.parametrize(
    "address",
    ["/", "/rankings/", "/rankings/no-load-power/", "/adapters/northfold-solo-0/"],
)
def test_a_page_takes_as_many_queries_for_thirty_adapters_as_for_three(
    client: Client, address: str
) -> None:
    counts = []
    for start, stop in ((0, 3), (3, 30)):
        standby_population(
            {f"Solo {number}": 0.05 + number / 1000 for number in range(start, stop)}
        )
        with CaptureQueriesContext(connection) as captured:
            assert client.get(address).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_an_adapters_page_takes_as_many_queries_for_many_conditions_as_for_one(
    client: Client,
) -> None:
    adapter = make_adapter("Solo 1")
    counts = []
    for voltages in ((5.0,), (9.0, 15.0, 20.0)):
        for voltage in voltages:
            stand(
                adapter,
                90.0,
                metric="average-efficiency",
                condition=Condition(line="high", output_v=voltage),
            )
        with CaptureQueriesContext(connection) as captured:
            client.get("/adapters/northfold-solo-1/")
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_an_adapters_page_tells_where_it_stands(client: Client, editor: User) -> None:
    standby_population({"Solo 1": 0.03, "Solo 2": 0.3})
    make_adapter(
        "Trio 140",
        rated_power_w=140.0,
        length_mm=69.0,
        width_mm=73.0,
        height_mm=34.0,
        mass_g=346.0,
        price="49.90",
        currency="EUR",
        claims=(ClaimFacts("20 V ⎓ 5 A", "C1", 20.0, 5.0),),
    )
    adapter = make_adapter("Trio 65")
    accepted(adapter, no_load_log(0.05), by=editor, instruments=(make_meter(),))
    page = text_of(client, "/adapters/northfold-trio-65/")
    assert "0.0500 ± 0.00" in page
    assert "Better than 50 % of 3, rank 2: middle part." in page
    assert "Few adapters have been measured so far." in page
    assert "On this bench" not in page  # three are too few for a word in the first sentence
    assert "Level VI" in page
    assert "Efficiency: no accepted run." in page
    assert "Standby: not tested at 115 V mains." in page
    bare = text_of(client, "/adapters/northfold-trio-140/")
    assert "140 W, one USB-C, 171.3 cm³, 346 g, 49.90 EUR." in bare
    assert "“20 V ⎓ 5 A”" in bare
    assert "No run yet." in bare


SHARED = b"combination,port,voltage_v,current_a\nC1+C2,C1,20,3.25\nC1+C2,C2,9,2\n"


def test_an_adapters_page_tells_whether_the_labels_claims_on_sharing_hold(
    client: Client, editor: User
) -> None:
    adapter = make_adapter(
        "Duo 90",
        ports=(PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c")),
        claims=(
            ClaimFacts("C1 + C2: 60 W", "C1", power_w=60.0, combination="C1+C2"),
            ClaimFacts("C1 + C2: 30 W", "C2", power_w=30.0, combination="C1+C2"),
        ),
    )
    run = accepted(adapter, SHARED, kind="sharing", by=editor)
    page = text_of(client, "/adapters/northfold-duo-90/")
    assert "What the label states, against the measurement" in page
    assert "C1+C2 C1 60 C1+C2 65.00 0 met" in page
    assert "C1+C2 C2 30 C1+C2 18.00 0 not met" in page
    # What is not prominent stays on the page of the run.
    assert "Every port of every combination" not in page
    assert "Every port of every combination" in text_of(client, run.get_absolute_url())


def test_an_adapters_page_shows_runs_kept_before_listings_could_be_prominent(
    client: Client, editor: User
) -> None:
    adapter = make_adapter("Duo 90", ports=(PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c")))
    run = accepted(adapter, SHARED, kind="sharing", by=editor)
    for listing in run.details["listings"]:
        del listing["prominent"]
    run.save(update_fields=["details"])
    assert "At most 83.0 W together" in text_of(client, "/adapters/northfold-duo-90/")


def test_values_that_are_not_comparable_are_listed_apart(client: Client) -> None:
    adapter = make_adapter("Solo 1")
    stand(adapter, 0.05, apart="The record was too short.")
    page = text_of(client, "/adapters/northfold-solo-1/")
    assert "Not comparable" in page
    assert "The record was too short." in page
    assert "No adapter with a comparable value" in text_of(client, "/rankings/no-load-power/")


def test_a_withdrawn_run_stays_on_the_page_with_its_reason(client: Client, editor: User) -> None:
    adapter = make_adapter("Solo 1")
    run = accepted(adapter, by=editor)
    withdraw_run(run, by=editor, reason="A lead was loose.")
    assert "withdrawn : A lead was loose." in text_of(
        client, "/adapters/northfold-solo-1/"
    ).replace("withdrawn:", "withdrawn :")


def test_an_embargoed_adapter_has_a_page_for_those_who_work_on_it_only(
    client: Client, editor_client: Client, person: object
) -> None:
    until = timezone.now().date() + timedelta(days=9)
    adapter = make_adapter("Secret 1", publish_on=until)
    stand(adapter, 0.05)
    assert client.get("/adapters/northfold-secret-1/").status_code == 404
    page = text_of(editor_client, "/adapters/northfold-secret-1/")
    assert "Under embargo until" in page
    assert "readers see nothing of it" in page
    for address in ("/", "/rankings/", "/rankings/no-load-power/"):
        assert "Secret" not in client.get(address).content.decode()
    marked = client.get("/rankings/no-load-power/?mark=northfold-secret-1")
    assert marked.status_code == 400
    unknown = client.get("/rankings/no-load-power/?mark=northfold-never-was")
    assert marked.content.decode().replace("secret-1", "") == unknown.content.decode().replace(
        "never-was", ""
    )


def test_a_maker_of_nothing_but_embargoed_adapters_is_not_offered(
    client: Client, editor_client: Client
) -> None:
    standby_population({"Solo 1": 0.05})
    make_adapter("Secret 1", maker="Hushford", publish_on=timezone.now().date() + timedelta(days=9))
    assert "Hushford" not in client.get("/rankings/no-load-power/").content.decode()
    assert client.get("/rankings/no-load-power/?maker=hushford").status_code == 400
    assert "Hushford" in editor_client.get("/rankings/no-load-power/").content.decode()


def test_the_list_counts_adapters_of_every_ranked_metric(client: Client) -> None:
    standby_population({"Solo 1": 0.05, "Solo 2": 0.06})
    page = text_of(client, "/rankings/")
    assert "Standby power W lower 2" in page
    assert "Thermal time constant" not in page


def test_a_ranking_names_its_population_and_who_is_missing(client: Client) -> None:
    standby_population({"Solo 1": 0.05, "Solo 2": 0.06, "Solo 3": 0.09})
    stand(make_adapter("Odd 1"), 0.01, apart="The room was too warm.")
    make_adapter("Untested 1")
    page = text_of(client, "/rankings/no-load-power/")
    assert "3 of 5 adapters, 230 V mains, one accepted run each; method 1.0 ; as it" in page
    assert "Median 0.0600 W , middle half 0.0500 to 0.0900 W ." in page
    assert "1 not comparable" in page
    assert "1 not tested under this condition" in page
    assert "The room was too warm." in page


@pytest.mark.parametrize(
    ("metric", "words"),
    [
        ("sharing-total", "one accepted run each"),
        ("match-rate", "one accepted run each"),
        ("power-density", "from the catalogue"),
    ],
)
def test_a_ranking_tells_runs_from_the_catalogue_by_where_its_values_are_from(
    client: Client, metric: str, words: str
) -> None:
    adapter = make_adapter("Solo 1", length_mm=60.0, width_mm=60.0, height_mm=30.0)
    if metric != "power-density":
        stand(adapter, 90.0, metric=metric, condition=Condition())
    assert f"1 of 1 adapter, no condition, {words}; method" in text_of(
        client, f"/rankings/{metric}/"
    )


@pytest.mark.parametrize("is_measured", [True, False])
def test_a_ranking_says_how_its_numbers_are_made(client: Client, is_measured: bool) -> None:
    if is_measured:
        standby_population({"Solo 1": 0.05})
    page = text_of(client, "/rankings/no-load-power/")
    made = page[page.index("How it is made") :]
    declared, source = all_metrics()["no-load-power"], SOURCES["iec-62301"]
    for part in (
        declared.definition,
        declared.formula,
        f"Better {declared.better}",
        f"{declared.title}, {declared.unit}",
        f"{source.title}, {source.edition}. {source.note}",
        f"Version {declared.method}",
    ):
        assert " ".join(escape(part).split()) in made, part
    links = client.get("/rankings/no-load-power/").content.decode()
    assert 'href="/methods/no-load/#no-load-power"' in links
    assert 'href="/methods/no-load/"' in links


@pytest.mark.parametrize("metric", ["power-density", "specific-power"])
def test_a_ranking_from_the_catalogue_states_what_it_does_not_tell(
    client: Client, metric: str
) -> None:
    page = client.get(f"/rankings/{metric}/").content.decode()
    assert "Known limits:" in page
    assert f'href="/methods/#{metric}"' in page
    assert f'<h3 id="{metric}">' in client.get("/methods/").content.decode()


def test_a_marked_adapter_is_named_in_words(client: Client) -> None:
    standby_population({"Solo 1": 0.05, "Solo 2": 0.06, "Solo 3": 0.09})
    make_adapter("Untested 1")
    page = text_of(client, "/rankings/no-load-power/?mark=northfold-solo-2")
    assert "Northfold Solo 2 , 0.0600 ± 0.0010 W: Better than 50 % of 3, rank 2" in page
    missing = text_of(client, "/rankings/no-load-power/?mark=northfold-untested-1")
    assert "not tested under this condition" in missing
    narrowed = text_of(
        client, "/rankings/no-load-power/?power_min=100&power_max=200&mark=northfold-solo-2"
    )
    assert "No adapter with a comparable value passes these filters" in narrowed


def test_a_long_ranking_is_paged_without_losing_a_row(client: Client) -> None:
    standby_population({f"Solo {number}": 0.05 + number / 1000 for number in range(130)})
    shown: list[str] = []
    for address in ("/rankings/no-load-power/", "/rankings/no-load-power/?start=100"):
        content = client.get(address).content.decode()
        shown += re.findall(r'<th scope="row"[^>]*><a href="[^"]+">Northfold (Solo \d+)', content)
    assert shown == [f"Solo {number}" for number in range(130)]
    assert 'href="?start=100"' in client.get("/rankings/no-load-power/").content.decode()
    marked = client.get("/rankings/no-load-power/?mark=northfold-solo-120").content.decode()
    assert 'start=100#marked">Its row' in marked
    there = client.get("/rankings/no-load-power/?mark=northfold-solo-120&start=100")
    assert 'id="marked"' in there.content.decode()
    assert "Its row" not in there.content.decode()


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("power_min=abc", "Rated power from, W: Enter a number."),
        ("power_min=nan", "Rated power from, W: Enter a number."),
        ("power_min=-1", "greater than or equal to 0"),
        ("power_min=100&power_max=20", "from its lower to its higher end"),
        ("ports_min=0", "greater than or equal to 1"),
        ("maker=nobody", "No maker with a public adapter"),
        ("as_of=2026-13-45", "Write the date as"),
        ("as_of=2999-01-01", "has not come yet"),
        ("condition=line%3Dmiddle", "choose one of the list"),
        ("condition=%00", "Null characters"),
        ("mark=%00", "Null characters"),
        ("mark=../..", "not in the catalogue"),
        ("start=-1", "greater than or equal to 0"),
        ("start=99", "The ranking has 1 rows."),
        ("pwer_min=5", "“pwer_min” is not a filter of this page; it knows"),
        ("adapter__slug=x", "“adapter__slug” is not a filter"),
    ],
)
def test_a_filter_that_cannot_be_applied_is_named_and_never_ignored(
    client: Client, query: str, sentence: str
) -> None:
    standby_population({"Solo 1": 0.05})
    page = text_of(client, f"/rankings/no-load-power/?{query}", status=400)
    assert sentence in page
    assert "Northfold Solo 1" not in page
    if not query.startswith("start"):
        assert client.get(f"/rankings/no-load-power.csv?{query}").status_code == 400


def test_metrics_that_are_not_ranked_and_unknown_ones_have_no_ranking(client: Client) -> None:
    assert "Thermal time constant is not ranked" in text_of(
        client, "/rankings/time-constant/", status=404
    )
    assert client.get("/rankings/no-such-metric/").status_code == 404
    assert client.get("/rankings/time-constant.csv").status_code == 404


def test_the_file_of_a_view_holds_exactly_its_rows(client: Client) -> None:
    standby_population({"Small 1": 0.03, "Small 2": 0.09}, rated_power_w=30.0)
    standby_population({"Large 1": 0.05, "Large 2": 0.0505}, rated_power_w=140.0)
    rows = rows_of(client, "/rankings/no-load-power.csv?power_min=100")
    assert [(row["rank"], row["adapter"], float(row["value"])) for row in rows] == [
        ("1", "northfold-large-1", 0.05),
        ("2", "northfold-large-2", 0.0505),
    ]
    assert rows[0]["maker"] == "Northfold"
    assert rows[0]["unit"] == "W"
    assert float(rows[0]["expanded_uncertainty_k2"]) == 0.001
    assert [row["percentile"] for row in rows] == ["75.0", "25.0"]
    assert [row["near_ties"] for row in rows] == ["1", "1"]
    assert rows[0]["condition"] == "line=high"
    assert rows[0]["method"] == "1.0"
    page = client.get("/rankings/no-load-power/?power_min=100").content.decode()
    assert 'href="/rankings/no-load-power.csv?power_min=100"' in page
    assert f"/runs/{rows[0]['run']}/" in page


def test_a_file_is_named_after_its_view(client: Client) -> None:
    standby_population({"Solo 1": 0.05})
    response = client.get("/rankings/no-load-power.csv")
    assert response["Content-Disposition"] == 'attachment; filename="no-load-power-high.csv"'
    assert response["Content-Type"] == "text/csv; charset=utf-8"


def test_text_in_a_file_runs_nothing_and_numbers_stay_numbers(client: Client) -> None:
    stand(make_adapter("=1+1", maker="@Northfold"), -0.25, metric="thermal-headroom")
    row = rows_of(client, "/rankings/thermal-headroom.csv")[0]
    assert row["name"] == "'=1+1"
    assert row["maker"] == "'@Northfold"
    assert row["value"] == "-0.25"


def test_names_with_markup_are_shown_as_text(client: Client) -> None:
    stand(make_adapter("<script>alert(1)</script>"), 0.05)
    for address in ("/", "/rankings/no-load-power/", "/adapters/northfold-scriptalert1script/"):
        content = client.get(address).content.decode()
        assert "<script>alert" not in content
        assert "&lt;script&gt;alert(1)" in content


def test_pages_carry_no_style_or_script_of_their_own(client: Client) -> None:
    standby_population({"Solo 1": 0.05, "Solo 2": 0.06})
    for address in ("/", "/rankings/", "/rankings/no-load-power/", "/adapters/northfold-solo-1/"):
        content = client.get(address).content.decode()
        assert " style=" not in content
        assert "<style" not in content
        assert not re.search(r"<script(?![^>]* src=)", content)


def test_every_strip_says_its_place_in_words(client: Client) -> None:
    standby_population({"Solo 1": 0.05, "Solo 2": 0.06})
    content = client.get("/adapters/northfold-solo-2/").content.decode()
    assert (
        "<title>Standby power, 230 V mains: 0.0600 W. Better than 25 % of 2, rank 2: lower part."
        in content
    )
    assert content.count('role="img"') == content.count("<title>") - 1


def test_page_file_and_api_give_every_row_the_same_rank(client: Client) -> None:
    values = {f"Solo {number}": 0.05 + (number % 9) / 1000 for number in range(25)}
    standby_population(values, rated_power_w=65.0)
    standby_population({"Small 1": 0.01}, rated_power_w=20.0)
    query = "power_min=60"
    page = client.get(f"/rankings/no-load-power/?{query}").content.decode()
    api = re.search(r'href="(/api/v1/rankings/[^"]+)"', page)
    assert api is not None
    shown = re.findall(
        r'<td class="number">(\d+)</td>\s*<td class="tie[^>]*></td>\s*'
        r'<th scope="row"[^>]*><a href="/adapters/([^/]+)/">',
        page,
    )
    in_file = [
        (row["rank"], row["adapter"])
        for row in rows_of(client, f"/rankings/no-load-power.csv?{query}")
    ]
    answered = client.get(api.group(1).replace("&amp;", "&")).json()
    in_api = [(str(row["rank"]), row["adapter"]) for row in answered["results"]]
    assert len(shown) == 25
    assert shown == in_file == in_api
