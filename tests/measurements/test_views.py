"""Pages of runs: who sees what, what a state says, what editors may do."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from catalog.actions import PortFacts
from catalog.models import Adapter
from measurements import queries
from measurements.actions import withdraw_run
from measurements.models import Run
from tests.factories.catalog import make_adapter
from tests.factories.measurements import (
    accepted,
    efficiency_log,
    make_meter,
    no_load_log,
    ready,
    receive,
)

pytestmark = pytest.mark.django_db

LIST = reverse("run-list")
BAD_FILE = b"time_s,input_power_w\n0,0.05\n1,oops\n2,0.05\n"


def page_of(run: Run) -> str:
    return reverse("run", args=[run.pk])


def names_on(page: Any) -> list[str]:
    """Adapters of the runs listed, from the top."""
    return [run.adapter.name for run in page.context["page"]]


def embargoed() -> Adapter:
    return make_adapter("Secret 100", publish_on=timezone.now().date() + timedelta(days=30))


def test_the_list_shows_the_public_what_was_accepted_and_reviewers_everything(
    client: Client, reviewer: User, editor: User
) -> None:
    accepted(make_adapter("Public 65"), by=editor)
    ready(make_adapter("Waiting 65"), by=reviewer)
    accepted(embargoed(), by=editor)

    page = client.get(LIST)
    assert page.status_code == 200
    assert names_on(page) == ["Public 65"]
    assert "Secret 100" not in page.text
    client.force_login(reviewer)
    assert names_on(client.get(LIST)) == ["Secret 100", "Waiting 65", "Public 65"]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"kind": "no-load"}, {"A 1", "B 2", "C 3"}),
        ({"kind": "thermal"}, set()),
        ({"state": "rejected"}, {"B 2"}),
        ({"standing": "accepted"}, {"C 3"}),
        ({"adapter": "northfold-a-1"}, {"A 1"}),
        ({"adapter": "northfold-a-1", "state": "rejected"}, set()),
    ],
)
def test_filters_narrow_the_list(
    client: Client, editor: User, query: dict[str, str], found: set[str]
) -> None:
    ready(make_adapter("A 1"))
    ready(make_adapter("B 2"), BAD_FILE)
    accepted(make_adapter("C 3"), by=editor)
    client.force_login(editor)

    assert set(names_on(client.get(LIST, query))) == found


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"kind": "weight"}, "weight is not one of the available choices"),
        ({"adapter": "northfold-secret-100"}, "No adapter is called “northfold-secret-100” here."),
        ({"sate": "ready"}, "This list has no filter “sate”."),
        ({"page": "7"}, "There is no such page"),
    ],
)
def test_a_bad_filter_is_a_400_and_tells_nothing_of_hidden_adapters(
    client: Client, query: dict[str, str], words: str
) -> None:
    embargoed()

    page = client.get(LIST, query)

    assert page.status_code == 400
    assert words in page.text


@pytest.mark.parametrize("rows", [3, 30])
def test_the_list_takes_the_same_few_queries_for_any_number_of_rows(
    client: Client, editor: User, django_assert_num_queries: Any, rows: int
) -> None:
    for number in range(rows):
        receive(make_adapter(f"Solo {number}"), by=editor)
    client.force_login(editor)

    # Session, person, two of permissions; count, runs, adapters to choose from, queue, notices.
    with django_assert_num_queries(9):
        client.get(LIST)


def test_the_queue_is_reported(client: Client) -> None:
    receive(make_adapter())

    assert "Queue: 1 waiting, 0 computing." in client.get(LIST).text


def test_a_hidden_run_is_a_404_on_every_address(client: Client, editor: User) -> None:
    for run in (ready(make_adapter("Waiting 65")), accepted(embargoed(), by=editor)):
        for name in ("run", "run-raw", "run-chart", "run-trace-csv"):
            assert client.get(reverse(name, args=[run.pk])).status_code == 404
    client.force_login(editor)
    for name in ("run-accept", "run-withdraw"):
        missing = reverse(name, args=["00000000-0000-7000-8000-000000000000"])
        assert client.post(missing).status_code == 404


def test_a_ready_run_shows_values_with_uncertainty_source_and_verdicts(
    client: Client, editor: User
) -> None:
    run = accepted(make_adapter(), no_load_log(0.2124), by=editor, instruments=(make_meter(),))

    page = client.get(page_of(run))

    assert page.status_code == 200
    value = run.values.get(metric="no-load-power")
    for words in (
        f"{value.value:.4f}",
        f"± {2 * value.standard_uncertainty:.4f}",
        "IEC 62301, Household electrical appliances",
        "Method version 1.0",
        "Level VI (United States)",
        "✕",
        "not a certification",
        run.raw_id,
        "Bench meter",
        f"accepted by {editor.username}",
    ):
        assert words in page.text


def test_a_waiting_run_follows_itself_with_and_without_scripts(
    client: Client, reviewer: User
) -> None:
    run = receive(make_adapter(), by=reviewer)
    client.force_login(reviewer)

    page = client.get(page_of(run)).text

    assert "data-live " in page
    assert '<noscript><meta http-equiv="refresh" content="2"></noscript>' in page
    assert "live.js" in page


def test_a_finished_run_is_left_alone(client: Client, editor: User) -> None:
    page = client.get(page_of(accepted(make_adapter(), by=editor))).text

    assert "data-live " not in page
    assert "refresh" not in page


def test_a_rejected_run_says_where_it_is_wrong_and_what_to_do(
    client: Client, reviewer: User
) -> None:
    run = ready(make_adapter(), BAD_FILE, by=reviewer)
    client.force_login(reviewer)

    page = client.get(page_of(run)).text

    assert run.state == Run.State.REJECTED
    assert '<td class="number">3</td><td>input_power_w</td>' in page
    assert "hand in the corrected file" in page
    assert "Accept this run" not in page


def test_a_long_list_of_problems_says_how_much_of_it_is_shown(
    client: Client, reviewer: User
) -> None:
    rows = b"".join(b"%d,oops\n" % second for second in range(14_310))
    run = ready(make_adapter(), b"time_s,input_power_w\n" + rows, by=reviewer)
    client.force_login(reviewer)

    assert "200 of 14\u202f310 shown" in client.get(page_of(run)).text


def test_a_run_that_was_set_aside_shows_its_error_and_the_way_on(
    client: Client, reviewer: User
) -> None:
    run = receive(make_adapter(), by=reviewer)
    Run.objects.filter(pk=run.pk).update(state=Run.State.SET_ASIDE, error="OSError: gone")
    client.force_login(reviewer)

    page = client.get(page_of(run)).text

    assert "OSError: gone" in page
    assert "manage.py recompute" in page


def test_a_provisional_run_stands_beside_what_stands_now(client: Client, editor: User) -> None:
    adapter = make_adapter()
    earlier = accepted(adapter, no_load_log(0.05), by=editor)
    run = ready(adapter, no_load_log(0.07), by=editor)
    client.force_login(editor)

    page = client.get(page_of(run)).text

    assert "Stands now" in page
    assert f'<a href="{page_of(earlier)}"><span class="value">0.0500 W</span>' in page


def test_an_accepted_run_says_which_values_a_later_run_replaced(
    client: Client, editor: User
) -> None:
    adapter = make_adapter()
    both = accepted(adapter, efficiency_log(9.0, 20.0), kind="efficiency", by=editor)
    assert "Replaced by a later run" not in client.get(page_of(both)).text

    later = accepted(adapter, efficiency_log(20.0), kind="efficiency", by=editor)

    page = client.get(page_of(both)).text
    link = f'<a href="{page_of(later)}">Replaced by a later run</a>'
    (average,) = re.findall(
        r"<tbody>(?:(?!</tbody>).)*?<strong>Average efficiency</strong>.*?</tbody>",
        page,
        re.DOTALL,
    )
    assert [link in row for row in average.split("</tr>")[:-1]] == [
        "20 V output" in row for row in average.split("</tr>")[:-1]
    ]
    assert average.count("</tr>") == 2
    assert "Stands now" not in page


def test_notes_and_file_names_are_shown_as_text(client: Client, editor: User) -> None:
    run = accepted(
        make_adapter(), by=editor, note="<script>alert(1)</script>", file_name="<b>log</b>.csv"
    )

    page = client.get(page_of(run)).text

    assert "<script>alert" not in page
    assert "<b>log" not in page


@pytest.mark.parametrize("outputs", [1, 4])
def test_a_run_page_takes_the_same_queries_for_any_number_of_values(
    client: Client, editor: User, django_assert_num_queries: Any, outputs: int
) -> None:
    heading = b"output_nominal_v,input_power_w,output_voltage_v,output_current_a\n"
    rows = b"".join(
        b"%d,%.3f,%d,%.2f\n" % (volts, volts * amperes / 0.9, volts, amperes)
        for volts in (5, 9, 15, 20)[:outputs]
        for amperes in (0.75, 1.5, 2.25, 3.0)
    )
    run = accepted(make_adapter(), heading + rows, kind="efficiency", by=editor)

    # Run; its trace; instruments, flags, verdicts, events; values; attachments; notices.
    with django_assert_num_queries(9):
        client.get(page_of(run))


def test_an_editor_accepts_and_withdraws_with_a_reason(client: Client, editor: User) -> None:
    run = ready(make_adapter())
    client.force_login(editor)

    client.post(reverse("run-accept", args=[run.pk]))
    run.refresh_from_db()
    assert run.standing == Run.Standing.ACCEPTED

    refused = client.post(reverse("run-withdraw", args=[run.pk]), {"reason": "  "})
    assert refused.status_code == 400
    assert "Say why the run is withdrawn" in refused.text

    client.post(reverse("run-withdraw", args=[run.pk]), {"reason": "Wrong unit."})
    run.refresh_from_db()
    assert run.standing == Run.Standing.WITHDRAWN
    client.logout()
    assert "Wrong unit." in client.get(page_of(run)).text


def test_accepting_twice_says_so_and_changes_nothing(client: Client, editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    client.force_login(editor)

    answer = client.post(reverse("run-accept", args=[run.pk]), follow=True)

    assert "The run is accepted already." in answer.text
    assert run.events.filter(what="accepted").count() == 1


def test_only_an_editor_judges(client: Client, reviewer: User, editor: User) -> None:
    run = ready(make_adapter(), by=reviewer)
    accept = reverse("run-accept", args=[run.pk])

    assert client.post(accept).headers["Location"].startswith(reverse("sign-in"))
    client.force_login(reviewer)
    assert "Accept this run" not in client.get(page_of(run)).text
    assert client.post(accept).status_code == 403
    withdraw = reverse("run-withdraw", args=[run.pk])
    assert client.post(withdraw, {"reason": "No."}).status_code == 403
    run.refresh_from_db()
    assert run.standing == Run.Standing.PROVISIONAL
    client.force_login(editor)
    assert client.get(accept).status_code == 405


def test_reviewers_judge_their_own_runs_where_the_site_allows_it(
    client: Client, person: Callable[[str], User], settings: Any
) -> None:
    settings.REVIEWERS_ACCEPT_OWN_RUNS = True
    own, other = person("reviewer"), person("reviewer")
    run = ready(make_adapter(), by=own)

    client.force_login(other)
    assert client.post(reverse("run-accept", args=[run.pk])).status_code == 403
    client.force_login(own)
    assert "Accept this run" in client.get(page_of(run)).text
    assert client.post(reverse("run-accept", args=[run.pk])).status_code == 302


def test_a_withdrawn_and_a_superseded_run_stay_readable_with_their_values(
    client: Client, editor: User
) -> None:
    adapter = make_adapter(ports=(PortFacts("C1", "usb-c"),))
    first = accepted(adapter, no_load_log(0.05), by=editor)
    second = accepted(adapter, no_load_log(0.06), by=editor)

    page = client.get(page_of(first)).text
    assert f'<a href="{page_of(second)}">The run that replaced it</a>' in page
    assert "0.0500" in page

    withdraw_run(second, reason="Meter was off.", by=editor)
    assert "Meter was off." in client.get(page_of(second)).text
    assert "0.0600" in client.get(page_of(second)).text


def test_the_stored_file_is_untouched_by_all_this(client: Client, editor: User) -> None:
    content = no_load_log(0.05)
    run = accepted(make_adapter(), content, by=editor)
    client.get(page_of(run))

    assert queries.raw_store().path(run.raw_id).read_bytes() == content


def test_a_value_of_dimension_one_is_shown_without_a_unit(client: Client, reviewer: User) -> None:
    # 50 Hz around 20 V: the crest factor of a sine is √2.
    samples = (
        f"{index / 1e4:.4f},{20 + math.sin(index / 1e4 * 100 * math.pi):.5f}"
        for index in range(1000)
    )
    content = "\n".join(["time_s,voltage_v", *samples, ""]).encode("ascii")
    fields = {"output_nominal_v": 20.0, "output_current_a": 1.0}
    run = ready(make_adapter("Swing 65"), content, kind="ripple", method_fields=fields, by=reviewer)
    client.force_login(reviewer)

    page = client.get(page_of(run)).text

    shown = re.findall(
        r'<span class="value">1\.41 <span class="uncertainty">[^<]*</span>(.*?)</', page
    )
    assert shown == [""]
    assert re.search(r"</span> mV</span>", page)
