"""A device's page: who charges it at full speed, and the smallest that does."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.html import strip_tags

from catalog.actions import save_device
from catalog.models import Adapter, Device
from comparisons.facts.device_sentences import full_speed_sentences, smallest_sentences
from comparisons.facts.words import without_breaks
from comparisons.queries.cohorts import Filters
from comparisons.queries.device_answers import device_answers
from comparisons.queries.device_rows import SORTS, chosen_trials, trial_rows
from comparisons.queries.device_trials import device_trials
from measurements.kinds.base import Condition, Measured
from measurements.kinds.device_match.rate import derive
from measurements.models import Run
from tests.comparisons.populations import stand
from tests.factories.catalog import make_adapter
from tests.factories.result_tables import accepted_table

pytestmark = pytest.mark.django_db

AT = Condition(device="hayrick-tablet")
PAGE = "/devices/hayrick-tablet/"
CUBE = {"length_mm": 30.0, "width_mm": 30.0, "height_mm": 30.0}


@pytest.fixture
def tablet() -> Device:
    return Device.objects.create(slug="hayrick-tablet", name="Hayrick tablet", battery_wh=38)


def tried(name: str, power_w: float, *, u: float = 0.05, **facts: Any) -> Adapter:
    """An adapter that gave the tablet a power on port C1."""
    adapter = make_adapter(name, **facts)
    row = stand(adapter, power_w, metric="matched-power", condition=AT, standard_uncertainty=u)
    assert row.run_id is not None
    pair = {"device": AT.device, "port": "C1", "protocol": "usb-pd", "voltage_v": 15.0}
    weaker = {**pair, "port": "A1", "protocol": "bc-1-2-dcp", "current_a": 0.1, "power_w": 0.5}
    best = {**pair, "current_a": power_w / 15, "power_w": power_w}
    facts = {"pairs": [weaker, best, {**best, "device": "other", "power_w": 99.0}]}
    Run.objects.filter(pk=row.run_id).update(details={"facts": facts})
    return adapter


def charged(adapter: Adapter, minutes: float, *, apart: str = "") -> None:
    stand(adapter, 60.0, metric="charge-peak-power", condition=AT)
    stand(adapter, minutes, metric="charge-to-full", condition=AT, apart=apart)


def words_of(client: Client, query: str = "", *, status: int = 200) -> str:
    answer = client.get(f"{PAGE}{query}")
    assert answer.status_code == status
    return " ".join(strip_tags(answer.text).replace("\u00a0", " ").replace("&nbsp;", " ").split())


def names(client: Client, query: str = "") -> list[str]:
    """The adapters of the CSV in their order."""
    answer = client.get(f"/devices/hayrick-tablet.csv{query}")
    assert answer.status_code == 200
    return [row["name"] for row in csv.DictReader(io.StringIO(answer.text))]


def sentences(device: Device, **asked: Any) -> str:
    trials = device_trials(device, viewer=None, **asked)
    answers = device_answers(trials)
    said = [*full_speed_sentences(answers, device), *smallest_sentences(answers)]
    return without_breaks(" ".join(said))


def test_full_speed_is_nine_tenths_of_the_best_as_the_match_rate_counts(tablet: Device) -> None:
    """Source: the public contract, match-rate; the kind's own pure function decides."""
    powers = {"Solo 1": 45.0, "Solo 2": 40.5, "Solo 3": 40.499, "Solo 4": 0.0}
    for name, power in powers.items():
        tried(name, power)
    trials = device_trials(tablet, viewer=None)
    history = {
        name: (
            Measured("matched-power", power, 0.05, AT),
            Measured("matched-power", power, 0.05, Condition(device="another")),
        )
        for name, power in powers.items()
    }
    rates = {name: found[0].value == 100.0 for name, found in derive(history).items()}
    found = dict(zip(powers, trials.full.tolist(), strict=True))
    assert found == rates == {"Solo 1": True, "Solo 2": True, "Solo 3": False, "Solo 4": False}
    # By hand: 0.9 · 45 = 40.5; U = 2 · √(0.05² + (0.9 · 0.05)²) = 0.135.
    assert trials.sure.tolist() == [True, False, False, True]
    assert np.allclose(trials.share, [1.0, 0.9, 40.499 / 45, 0.0])


def test_the_answers_name_the_fast_the_open_and_the_smallest(tablet: Device) -> None:
    tried("Big 1", 45.0, mass_g=90.0)
    tried("Small 1", 44.0, **CUBE, mass_g=80.0)
    tried("Small 2", 40.52, length_mm=29.0, width_mm=30.0, height_mm=30.0, mass_g=79.9)
    tried("Tiny 1", 20.0, length_mm=10.0, width_mm=10.0, height_mm=10.0, mass_g=10.0)
    tried("Flat 1", 43.0, length_mm=None, width_mm=None, height_mm=None, mass_g=None)
    said = sentences(tablet)
    assert "is 45.0 ± 0.1 W, by Northfold Big 1." in said
    assert "Of 5 adapters whose power with it was measured, 4 give it at least 90 % of that" in said
    assert "Northfold Big 1, Northfold Small 1, Northfold Flat 1 and Northfold Small 2." in said
    assert "Northfold Small 2 lies so near that bound" in said
    # By hand: 29 · 30 · 30 = 26.1 cm³; u = 26.1 · √(2 · (0.2887/30)² + (0.2887/29)²) = 0.44.
    assert "the smallest of them is Northfold Small 2, 26.1 ± 0.9 cm³" in said
    assert "Its volume cannot be told from that of Northfold Small 1." in said
    assert "Whether it reaches 90 % is open. The smallest that does beyond doubt is" in said
    assert "beyond doubt is Northfold Small 1, 27.0 ± 0.9 cm³" in said
    assert "it is the lightest too, 80 ± 1 g" in said
    assert "Its mass cannot be told from that of Northfold Small 1." in said
    assert "The size of 1 of them is not in the catalogue." in said
    assert "Tiny" not in said


def test_the_smallest_and_the_lightest_may_be_two(tablet: Device) -> None:
    tried("Small 1", 45.0, **CUBE, mass_g=200.0)
    tried("Light 1", 45.0, mass_g=50.0)
    said = sentences(tablet)
    assert "smallest of them is Northfold Small 1" in said
    assert "The lightest is Northfold Light 1, 50 ± 1 g." in said
    assert "too" not in said


def test_one_adapter_alone_and_none_at_all(tablet: Device, client: Client) -> None:
    assert "No accepted run has tried an adapter with this device" in words_of(client)
    tried("Solo 1", 0.2)
    assert "No adapter gave the Hayrick tablet enough to charge it" in sentences(tablet)
    tried("Solo 2", 30.0)
    assert "Of 2 adapters whose power with it was measured, 1 gives it" in sentences(tablet)


def test_a_charge_without_a_measured_power_is_not_said_to_be_none(tablet: Device) -> None:
    charged(make_adapter("Solo 1"), 60.0)
    said = sentences(tablet)
    assert "How much the Hayrick tablet draws was not measured on any adapter" in said
    assert "enough to charge it" not in said


def test_what_is_its_own_best_is_said_to_be_compared_with_itself(tablet: Device) -> None:
    tried("Solo 1", 30.0, rated_power_w=30.0)
    alone = "No other adapter was tried with it, so that it is compared with itself only."
    assert alone in sentences(tablet)
    tried("Solo 2", 45.0)
    assert alone not in sentences(tablet, filters=Filters(power_max=40.0))


def test_filters_leave_out_adapters_and_never_the_best(tablet: Device) -> None:
    tried("Big 1", 45.0, rated_power_w=100.0)
    tried("Small 1", 20.0, rated_power_w=30.0)
    said = sentences(tablet, filters=Filters(power_max=60.0))
    assert "is 45.0 ± 0.1 W, by Northfold Big 1." in said
    assert "Of 1 adapter whose power with it was measured, none gives it at least 90 %" in said


def test_orders_and_speeds(tablet: Device, client: Client) -> None:
    sizes = {"A": (45.0, 30.0, 70.0), "B": (44.0, 20.0, 90.0), "C": (10.0, 10.0, 80.0)}
    for name, (power, side, minutes) in sizes.items():
        adapter = tried(name, power, length_mm=side, width_mm=side, height_mm=side, mass_g=side)
        charged(adapter, minutes)
    charged(make_adapter("D", length_mm=None, width_mm=None, height_mm=None, mass_g=None), 60.0)
    orders = {"power": "ABCD", "volume": "CBAD", "mass": "CBAD", "charge-to-full": "DACB"}
    for order, expected in orders.items():
        assert "".join(names(client, f"?sort={order}")) == expected
    assert "".join(names(client, "?speed=full")) == "AB"
    assert "".join(names(client, "?speed=slow")) == "C"
    assert names(client, "?speed=near") == []
    trials = device_trials(tablet, viewer=None)
    for order in SORTS:
        found = chosen_trials(trials, speed="", sort=order).adapter_ids
        assert sorted(found.tolist()) == sorted(trials.adapter_ids.tolist())


def test_a_row_has_the_strongest_port_of_this_device_and_its_charge(
    tablet: Device, client: Client
) -> None:
    adapter = tried("Solo 1", 45.0)
    charged(adapter, 71.3, apart="The charge began at 30 %.")
    (row,) = trial_rows(device_trials(tablet, viewer=None), viewer=None, tables=False)
    assert row.pair is not None
    assert (row.pair.port, row.pair.protocol, row.pair.power_w) == ("C1", "usb-pd", 45.0)
    page = words_of(client)
    assert "71.3 ± 0.0" in page
    assert "not comparable" in page
    assert "Northfold Solo 1: The charge began at 30 %." in page
    assert 'name="adapter" value="northfold-solo-1"' in client.get(PAGE).text
    overlay = client.get("/charges/hayrick-tablet/?adapter=northfold-solo-1")
    assert overlay.status_code in (200, 400)


def test_who_was_not_tried_stands_apart_and_embargoed_adapters_nowhere(
    tablet: Device, client: Client, editor: User
) -> None:
    tried("Solo 1", 30.0)
    make_adapter("Untried 1")
    soon = timezone.now().date() + timedelta(days=9)
    tried("Secret 1", 60.0, publish_on=soon)
    make_adapter("Secret 2", publish_on=soon)
    page = words_of(client)
    assert "1 adapter was not tried with it: Northfold Untried 1." in page
    assert "Secret" not in page
    assert "30.0 ± 0.1 W, by Northfold Solo 1" in page
    client.force_login(editor)
    page = words_of(client)
    assert "60.0 ± 0.1 W, by Northfold Secret 1" in page
    assert "You also see 2" in page
    assert "2 adapters were not tried with it" in page


def test_results_of_tables_count_when_they_are_asked_for(
    tablet: Device, client: Client, editor: User
) -> None:
    tried("Solo 1", 30.0)
    make_adapter("Old 1")
    head = b"adapter,metric,device,value,standard_uncertainty"
    row = b"northfold-old-1,matched-power,hayrick-tablet,40,"
    accepted_table(b"\n".join([head, row, b""]), by=editor)
    page = words_of(client)
    assert "1 result from tables (no raw record) left out" in page
    assert names(client) == ["Solo 1"]
    page = words_of(client, "?tables=in")
    assert "40.0 W (U not stated), by Northfold Old 1" in page
    assert "Of 1 adapter nobody can say how sure that is" in page  # the best is sure of itself
    assert "so near that bound" not in page
    assert names(client, "?tables=in") == ["Old 1", "Solo 1"]


@pytest.mark.parametrize(
    "query",
    [
        *("?speed=quick", "?sort=price", "?start=-1", "?start=9", "?power_min=x", "?colour=red"),
        *("?tables=maybe", "?power_min=9&power_max=5", "?maker=nobody"),
    ],
)
def test_what_cannot_be_asked_is_explained(tablet: Device, client: Client, query: str) -> None:
    tried("Solo 1", 30.0)
    assert "This cannot be shown:" in words_of(client, query, status=400)
    if "start=9" not in query:
        assert client.get(f"/devices/hayrick-tablet.csv{query}").status_code == 400


def test_devices_that_only_uploads_name_have_no_page(client: Client) -> None:
    Device.objects.create(slug="slip", name="Slip", confirmed=False)
    assert client.get("/devices/slip/").status_code == 404
    assert client.get("/devices/slip.csv").status_code == 404
    assert client.get("/devices/nobody/").status_code == 404


def test_a_device_called_new_is_not_hidden_by_the_page_for_new_ones(client: Client) -> None:
    device = save_device(Device(name="New"))
    assert device.slug == "new-2"
    assert client.get("/devices/new-2/").status_code == 200


def test_the_list_of_devices_leads_to_the_page(tablet: Device, client: Client) -> None:
    assert f'href="{PAGE}"' in client.get("/devices/").text


def test_a_page_takes_as_many_queries_for_thirty_rows_as_for_three(
    tablet: Device, client: Client
) -> None:
    counts = []
    for start, stop in ((0, 3), (3, 30)):
        for number in range(start, stop):
            charged(tried(f"Solo {number}", 40.0 + number / 10), 70.0 + number)
        for address in (PAGE, "/devices/hayrick-tablet.csv"):
            with CaptureQueriesContext(connection) as captured:
                assert client.get(address).status_code == 200
            counts.append(len(captured))
    assert counts[:2] == counts[2:]


def test_pages_of_rows_join_up(tablet: Device, client: Client, monkeypatch: Any) -> None:
    monkeypatch.setattr("comparisons.views.devices.ROWS_A_PAGE", 2)
    for number in range(5):
        tried(f"Solo {number}", 40.0 - number)
    seen: list[str] = []
    address: str | None = PAGE
    while address:
        page = client.get(address).text
        table = page[page.index('class="trials"') :]
        seen += re.findall(r"Northfold (Solo \d)</a>", table[: table.index("</table>")])
        later = re.search(r'rel="next" href="([^"]*)"', page)
        address = PAGE + later[1].replace("&amp;", "&") if later else None
    assert seen == [f"Solo {number}" for number in range(5)]
