"""An adapter's page from the top: in short, ratings, verdicts, charts, similar, side by side."""

from __future__ import annotations

import gzip
import html
import re
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalog.actions import ClaimFacts, PortFacts
from catalog.models import Adapter
from comparisons.queries.beside import side_by_side
from comparisons.queries.placements import placements
from comparisons.queries.ratings import ratings
from comparisons.queries.similar import similar
from measurements.kinds import all_kinds
from measurements.kinds.base import Condition
from measurements.models import Run, Value, Verdict
from measurements.queries import port_capabilities
from tests.comparisons.populations import run_of, stand, standby_population
from tests.comparisons.test_filters import FIXED_5_V, FIXED_20_V, FIXED_28_V, scanned
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log
from tests.factories.result_tables import accepted_table, standby_table

pytestmark = pytest.mark.django_db

PAGE = "/adapters/northfold-solo-65/"
UNTRIED = "No soak, shared ports, device or charge has a comparable power yet."
HIGHEST = "highest comparable power of its soaks, shared ports, devices and charges"


def page_of(client: Client, address: str = PAGE) -> str:
    response = client.get(address)
    assert response.status_code == 200
    return response.content.decode()


def text_of(markup: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", markup)).split())


def part_of(markup: str, name: str) -> str:
    """The words of one section, by the id of its heading."""
    found = re.search(rf'<section[^>]*aria-labelledby="{name}".*?</section>', markup, re.S)
    assert found is not None, name
    return text_of(found.group())


def test_an_untested_adapter_says_what_is_not_known(client: Client) -> None:
    make_adapter("Solo 65")
    page = page_of(client)
    assert "Nothing has been tested: no run of it was accepted yet." in text_of(page)
    assert UNTRIED in part_of(page, "ratings")
    assert "Port C1 65 W – Not scanned." in part_of(page, "ratings")
    for kind in all_kinds():
        assert f"{kind.title}: no accepted run." in part_of(page, "not-tested")
    assert "No other adapter here" in part_of(page, "similar")
    assert 'id="verdicts"' not in page


def test_the_summary_is_short_and_says_what_the_sections_say(client: Client, editor: User) -> None:
    adapter = scanned("Solo 65", FIXED_5_V, FIXED_20_V, by=editor)
    accepted(adapter, no_load_log(0.05), by=editor, instruments=(make_meter(),))
    stand(adapter, 63.5, metric="sharing-total", condition=Condition(), standard_uncertainty=0.1)
    page = page_of(client)
    listed = re.search(r'<ul class="in-short".*?</ul>', page, re.S)
    assert listed is not None
    lines = [text_of(line) for line in re.findall(r"<li>(.*?) <a ", listed.group(), re.S)]
    assert len(lines) <= 7  # with the lead above them eight
    assert lines[0] == (
        f"The {HIGHEST} is 63.5 W (several ports together), 98 % of the rated 65 W."
    )
    assert "1 scanned port advertises up to 65 W and 20 V." in lines
    assert any(
        line.startswith("Of 4 comparisons with published limits, 4 passed") for line in lines
    )
    tested = next(line for line in lines if line.startswith("Tested by 3 of 8 methods on 1 unit"))
    assert "charging, device match, efficiency, ripple and surface temperature." in tested
    verdicts = part_of(page, "verdicts")
    assert "Level VI ✓ 1 0 0" in verdicts


def test_every_link_within_the_page_leads_somewhere(client: Client, editor: User) -> None:
    adapter = scanned("Solo 65", FIXED_5_V, by=editor)
    accepted(adapter, no_load_log(0.05), by=editor)
    stand(adapter, 0.4, metric="ripple-loaded", apart="A lead was loose.")
    page = page_of(client)
    anchors = set(re.findall(r'href="#([^"]+)"', page))
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert anchors <= set(ids)
    assert {"ratings", "verdicts", "results", "capability", "apart", "not-tested"} <= anchors
    assert len(ids) == len(set(ids))


def rated(adapter: Adapter) -> dict[str, tuple[str, str]]:
    whole = Adapter.objects.prefetch_related("ports__protocols", "claims").get(pk=adapter.pk)
    rows = ratings(
        whole,
        placed=placements(whole, viewer=None),
        capabilities=port_capabilities(whole),
    )
    return {f"{row.what}: {row.stated}": (row.found, row.words) for row in rows}


def test_what_is_printed_stands_beside_what_a_scan_found(editor: User) -> None:
    adapter = scanned(
        "Solo 65",
        FIXED_5_V,
        FIXED_20_V,
        by=editor,
        ports=(PortFacts("C1", "usb-c", 60.0), PortFacts("C2", "usb-c", 20.0)),
        claims=(
            ClaimFacts("20 V 3.25 A", "C1", 20.0, 3.25),
            ClaimFacts("20 V 5 A", "C1", 20.0, 5.0),
            ClaimFacts("9 V 3 A", "C1", 9.0, 3.0),
            ClaimFacts("5 V 3 A", "", 5.0, 3.0),
            ClaimFacts("5 V 2 A", "C2", 5.0, 2.0),
        ),
    )
    assert rated(adapter) == {
        "Rated power: 65 W": ("", UNTRIED),
        "Port C1: 60 W": ("65 W advertised", "5 W more than rated."),
        "Port C2: 20 W": ("", "Not scanned."),
        "Label, C1: 20 V 3.25 A": ("3.25 A at 20 V", "Advertised as claimed."),
        "Label, C1: 20 V 5 A": ("3.25 A at 20 V", "Advertises 1.75 A less than claimed."),
        "Label, C1: 9 V 3 A": ("", "No object reaches 9 V."),
        "Label: 5 V 3 A": ("3 A at 5 V", "Advertised as claimed."),
        "Label, C2: 5 V 2 A": ("", "Not scanned."),
    }


def test_the_highest_power_is_of_what_was_measured_and_compared(editor: User) -> None:
    adapter = make_adapter("Solo 65")
    for metric, value, condition in (
        ("sharing-total", 60.0, Condition()),
        ("matched-power", 64.2, Condition(device="tablet-12")),
        ("charge-peak-power", 63.0, Condition(device="tablet-12")),
    ):
        stand(adapter, value, metric=metric, condition=condition, standard_uncertainty=0.05)
    stand(adapter, 70.0, metric="sustained-power", condition=Condition(line="high"), apart="Hot.")
    assert rated(adapter)["Rated power: 65 W"] == (
        "64.2 ± 0.1 W",
        f"99 % of the rating, into a reference device (tablet 12): the {HIGHEST}.",
    )


def test_each_method_shows_its_run_at_230_volts_with_its_chart(
    client: Client, editor: User
) -> None:
    adapter = make_adapter("Solo 65")
    high = accepted(adapter, no_load_log(0.05, minutes=5.0), by=editor)
    low = accepted(adapter, no_load_log(0.06), by=editor, mains_v=115.0)
    page = page_of(client)
    shown = part_of(page, "results")
    assert "Standby at 230 V" in shown
    assert "1 further accepted run" in shown
    assert "Warning:" in shown  # the record of five minutes is short
    assert f"/runs/{high.pk}/trace.svg" in page
    assert f"/runs/{low.pk}/trace.svg" not in page
    assert re.search(r'<img src="/runs/[^"]+" alt="Draws 0.050 W[^"]*" loading="lazy"', page)


def test_similar_means_as_many_ports_and_about_the_power_the_nearest_first(
    client: Client, editor: User
) -> None:
    one = make_adapter("Solo 65")
    two_ports = (PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c"))
    for name, power, facts in (
        ("Far 75", 75.0, {}),
        ("Near 66", 66.0, {}),
        ("Same 65", 65.0, {}),
        ("Edge 55", 55.25, {}),
        ("Low 55", 55.2, {}),
        ("Duo 65", 65.0, {"ports": two_ports}),
        ("Secret 65", 65.0, {"publish_on": timezone.now().date() + timedelta(days=9)}),
    ):
        make_adapter(name, rated_power_w=power, **facts)
    one = Adapter.objects.prefetch_related("ports").get(pk=one.pk)

    def names(viewer: Any) -> list[str]:
        return [item.adapter.name for item in similar(one, headlines=(), viewer=viewer)]

    # 15 % of 65 W is 9.75 W; of the same distance the one written down first.
    assert names(None) == ["Same 65", "Near 66", "Edge 55"]
    assert names(editor) == ["Same 65", "Secret 65", "Near 66", "Edge 55"]
    page = page_of(client)
    assert "Secret" not in page
    assert 'href="/adapters/northfold-solo-65/beside/northfold-same-65/"' in page
    assert "comparisons/new/?adapter=" not in page


def test_similar_adapters_come_with_their_values_and_ranks(client: Client) -> None:
    standby_population({"Solo 65": 0.06, "Solo 66": 0.05, "Solo 67": 0.09})
    make_adapter("Untested 65")
    row = part_of(page_of(client), "similar")
    assert "Northfold Solo 66 65 0.0500 ± 0.0010 rank 1" in row
    assert "Northfold Untested 65 65 –" in row


def test_two_side_by_side_are_told_apart_where_the_difference_is_large_enough(
    client: Client,
) -> None:
    adapters = standby_population({"Solo 65": 0.05, "Solo 66": 0.06})
    for name, efficiency in (("Solo 65", 90.0), ("Solo 66", 90.1)):
        stand(
            adapters[name],
            efficiency,
            metric="average-efficiency",
            condition=Condition(line="high", output_v=20.0),
            standard_uncertainty=0.1,
        )
    stand(adapters["Solo 65"], 12.0, metric="thermal-headroom")
    page = text_of(page_of(client, "/adapters/northfold-solo-65/beside/northfold-solo-66/"))
    assert "Northfold Solo 65 is better in 1, Northfold Solo 66 in 0, and 3 cannot be told" in page
    assert (
        "0.0500 ± 0.0010 W rank 1 of 2 0.0600 ± 0.0010 W rank 2 of 2 Northfold Solo 65 is" in page
    )
    assert "90.10 ± 0.20 % rank 1 of 2 not to be told apart" in page
    found = side_by_side("northfold-solo-66", "northfold-solo-65", viewer=None)
    assert found is not None
    # Power density and specific power are equal by the catalogue; the headroom has no counterpart.
    assert found.counts == (0, 1, 3)
    assert (found.only_first, found.only_second) == (0, 1)


def test_side_by_side_keeps_back_what_is_under_embargo(client: Client, editor: User) -> None:
    make_adapter("Solo 65")
    make_adapter("Secret 65", publish_on=timezone.now().date() + timedelta(days=9))
    for first, second in (
        ("northfold-solo-65", "northfold-secret-65"),
        ("northfold-secret-65", "northfold-solo-65"),
        ("northfold-solo-65", "northfold-solo-65"),
        ("northfold-solo-65", "northfold-never-was"),
    ):
        assert client.get(f"/adapters/{first}/beside/{second}/").status_code == 404
    client.force_login(editor)
    page = client.get("/adapters/northfold-solo-65/beside/northfold-secret-65/")
    assert page.status_code == 200
    assert (
        "/comparisons/new/?adapter=northfold-solo-65&amp;adapter=northfold-secret-65" in page.text
    )


@pytest.mark.parametrize("address", [PAGE, "/adapters/northfold-solo-65/beside/northfold-solo-66/"])
def test_the_pages_take_as_many_queries_for_many_adapters_and_runs_as_for_few(
    client: Client, editor: User, address: str
) -> None:
    adapters = standby_population({"Solo 65": 0.06, "Solo 66": 0.05})
    counts = []
    for number in range(2):
        for offset in range(1 + 4 * number):
            standby_population({f"Solo {number} {offset}": 0.07})
            condition = Condition(line="high", output_v=5.0 + offset)
            for adapter in adapters.values():
                stand(adapter, 90.0, metric="average-efficiency", condition=condition)
            accepted(
                adapters["Solo 65"], no_load_log(0.05 + (10 * number + offset) / 1000), by=editor
            )
        with CaptureQueriesContext(connection) as captured:
            page_of(client, address)
        counts.append(len(captured))
        for adapter in adapters.values():
            adapter.values.filter(metric="average-efficiency").delete()
    assert counts[0] == counts[1]


def test_the_page_of_a_scanned_and_tested_adapter_is_light(client: Client, editor: User) -> None:
    adapter = scanned("Solo 65", FIXED_5_V, FIXED_20_V, FIXED_28_V, by=editor)
    for volts in range(5, 45):
        stand(
            adapter,
            90.0,
            metric="average-efficiency",
            condition=Condition(line="high", output_v=float(volts)),
        )
    page = page_of(client)
    assert len(gzip.compress(page.encode())) < 120 * 1024
    assert not re.search(r"\sstyle=|<style|<script(?! src)", page)


def test_no_small_uncertainty_is_shown_as_none_at_all() -> None:
    adapter = make_adapter("Solo 65")
    stand(adapter, 64.2, metric="sharing-total", condition=Condition(), standard_uncertainty=0.01)
    assert rated(adapter)["Rated power: 65 W"][0] == "64.2 ± 0.02 W"


def test_a_set_load_of_an_efficiency_run_never_stands_against_a_claim_of_the_most() -> None:
    """A run at full load gives more than a small device draws; no sentence may deny it."""
    adapter = make_adapter("Solo 65")
    at_20_v = Condition(line="high", output_v=20.0)
    stand(adapter, 6.0, metric="full-load-loss", condition=at_20_v, standard_uncertainty=0.05)
    assert rated(adapter)["Rated power: 65 W"] == ("", UNTRIED)
    stand(adapter, 18.0, metric="matched-power", condition=Condition(device="tablet-12"))
    assert "device (tablet 12): the highest comparable" in rated(adapter)["Rated power: 65 W"][1]


def judged_touch(value: Value, outcome: str) -> None:
    """A verdict on the reading of a sensor, against the limit for plastic."""
    Verdict.objects.create(
        run=run_of(value),
        scheme="iec-62368-1",
        quantity=value.metric,
        condition_key=value.condition_key,
        condition=value.condition.as_json(),
        limit=77.0,
        value=value.value,
        expanded_uncertainty=0.9,
        margin=77.0 - value.value,
        outcome=outcome,
        clause="Table 38",
        sense="at most",
    )


TOP = Condition(line="high", sensor="top_face")


def test_a_verdict_that_two_values_rest_on_counts_once(client: Client) -> None:
    adapter = make_adapter("Solo 65")
    reading = stand(adapter, 66.6, metric="surface-temperature", condition=TOP)
    room = stand(adapter, 10.4, metric="thermal-headroom")
    Value.objects.filter(pk=room.pk).update(run=reading.run)
    judged_touch(reading, "pass")
    page = page_of(client)
    assert "Of 1 comparison with published limits, 1 passed." in text_of(page)
    assert "IEC 62368-1 touch ✓ 1 0 0 0" in part_of(page, "verdicts")
    facts = text_of(page_of(client, f"{PAGE}facts/"))
    assert "By IEC 62368-1 touch, of 1 judged value: 1 passed." in facts


def test_the_verdict_on_a_value_set_apart_is_not_that_on_the_comparable_one(client: Client) -> None:
    """A soak in a hot room stands beside a good one under the same condition."""
    adapter = make_adapter("Solo 65")
    for value, apart, outcome in ((66.6, "", "pass"), (85.0, "The room was at 35 °C.", "fail")):
        metric = "surface-temperature"
        judged_touch(stand(adapter, value, metric=metric, condition=TOP, apart=apart), outcome)
    assert "Of 1 comparison with published limits, 1 passed." in text_of(page_of(client))
    facts = text_of(page_of(client, f"{PAGE}facts/"))
    assert "By IEC 62368-1 touch, of 1 judged value: 1 passed." in facts
    assert "misses the limit" not in facts


def test_a_word_for_a_place_takes_as_many_adapters_as_on_the_fact_sheet(client: Client) -> None:
    standby_population({f"Solo {65 + number}": 0.05 + number / 99 for number in range(7)})
    assert "On this bench" not in text_of(page_of(client))
    stand(make_adapter("Solo 80"), 0.2)  # the eighth
    assert "On this bench its standby power is in the leading part." in text_of(page_of(client))


def test_what_came_by_a_table_says_so_beside_another_and_among_similar(
    client: Client, editor: User
) -> None:
    standby_population({"Solo 65": 0.05})
    make_adapter("Old 65")
    accepted_table(standby_table(("northfold-old-65", 0.03, None)), by=editor)
    page = page_of(client, f"{PAGE}?tables=in")
    assert "0.0300 U not stated rank 1" in part_of(page, "similar")
    beside = f"{PAGE}beside/northfold-old-65/"
    assert "from a table" not in page_of(client, beside)
    counted = page_of(client, f"{beside}?tables=in")
    assert "from a table, no raw record" in part_of(counted, "values")
    assert "(1 because an uncertainty is not stated)" in text_of(counted)
    assert "/adapters/northfold-old-65/beside/northfold-solo-65/?tables=in" in counted


def test_what_a_scan_is_silent_about_is_not_said_to_be_missing(client: Client) -> None:
    """A scan that lists protocols alone has no count of objects: none was read, not none found."""
    adapter = make_adapter("Solo 65")
    listed = stand(adapter, 1.0, metric="protocol-count", condition=Condition(port="C1"))
    port = {"port": "C1", "words": [], "unread": [], "protocols": ["qc-3"]}
    Run.objects.filter(values=listed).update(details={"facts": {"ports": [port]}})
    assert rated(adapter)["Port C1: 65 W"] == ("", "The scan read no power data object of it.")
    page = text_of(page_of(client))
    assert "C1: no power data object read" in page
    facts = text_of(page_of(client, f"{PAGE}facts/"))
    assert "Of port C1 no power data object was read." in facts
    assert "advertises no" not in page + facts
    assert "Every measured value is of one unit" in facts


def test_without_a_headline_value_its_other_places_are_not_denied(client: Client) -> None:
    bare: dict[str, Any] = {"length_mm": None, "width_mm": None, "height_mm": None, "mass_g": None}
    adapter = make_adapter("Solo 65", **bare)
    assert "Nothing has a place yet" in part_of(page_of(client), "stands")
    stand(adapter, 30.0, metric="ripple-loaded")
    stands = part_of(page_of(client), "stands")
    assert "Nothing has a place yet" not in stands
    assert "no comparable value of standby power, average efficiency or thermal" in stands
