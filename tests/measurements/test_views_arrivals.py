"""The page of a file that waits, and the list of those."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from measurements.models import Arrival, ColumnMap, Run
from tests.factories.arrivals import arrived, foreign_log, looked_at
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log

pytestmark = pytest.mark.django_db

LIST = reverse("arrivals")
STANDBY: dict[str, Any] = {
    "adapter": "northfold-solo-65",
    "kind": "no-load",
    "mains_v": "230",
    "instruments": ["Bench meter"],
}
CHOICE = {
    **{"column-0": "time_s", "unit-0": "s", "column-1": "input_power_w", "unit-1": "mW"},
    **{"column-2": "", "unit-2": "mW", "column-3": "", "unit-3": "V"},
}


@pytest.fixture
def bench(client: Client, reviewer: User) -> Client:
    """A reviewer's client, with an adapter written down."""
    make_adapter()
    make_meter()
    client.force_login(reviewer)
    return client


def test_a_file_is_seen_by_who_brought_it_and_by_editors(
    client: Client, person: Callable[[str], User], reviewer: User
) -> None:
    arrival = arrived(reviewer, no_load_log())
    for role, status in (("reader", 403), ("reviewer", 404), ("editor", 200)):
        client.force_login(person(role))
        assert client.get(arrival.get_absolute_url()).status_code == status
        assert (arrival.file_name in client.get(LIST).text) == (role == "editor")


def test_a_file_that_is_not_read_yet_says_so_and_rings_once(
    bench: Client, reviewer: User, bell: list[str], django_capture_on_commit_callbacks: Any
) -> None:
    from measurements.reception import keep_arrival  # noqa: PLC0415

    with django_capture_on_commit_callbacks(execute=True):
        arrival, _ = keep_arrival([no_load_log()], file_name="log.csv", by=reviewer)

    page = bench.get(arrival.get_absolute_url())
    assert "waiting to be read" in page.text
    assert 'http-equiv="refresh"' in page.text
    assert bell == [str(arrival.pk)]

    Arrival.objects.update(rung_at=None)
    bench.get(LIST)
    assert bell == [str(arrival.pk)] * 2


def test_the_page_shows_headings_rows_and_what_would_come_of_it_beside_what_stands(
    bench: Client, reviewer: User, editor: User
) -> None:
    from catalog.models import Adapter  # noqa: PLC0415

    adapter = Adapter.objects.get()
    accepted(adapter, no_load_log(0.0777), by=editor)
    arrival = arrived(reviewer, no_load_log(0.0432), **STANDBY)

    page = bench.get(arrival.get_absolute_url())

    assert "No question is left" in page.text
    assert "time_s,input_power_w" in page.text
    row = page.context["prospects"].lines[0]
    assert row.value == pytest.approx(0.0432, abs=1e-5)
    assert row.standing.value == pytest.approx(0.0777, abs=1e-5)
    assert row.earlier[0].value == row.standing.value
    assert "0.0432" in page.text
    assert "0.0777" in page.text


def test_looking_and_handing_in_are_two_steps(bench: Client, reviewer: User) -> None:
    arrival = arrived(reviewer, no_load_log())

    answer = bench.post(arrival.get_absolute_url(), {**STANDBY, "do": "hand-in"}, follow=True)
    assert "look at it once more" in answer.text
    assert not Run.objects.exists()

    looked_at(arrival.pk)
    answer = bench.post(arrival.get_absolute_url(), {**STANDBY, "do": "hand-in"})
    assert answer.headers["Location"] == Run.objects.get().get_absolute_url()
    assert bench.get(arrival.get_absolute_url()).headers["Location"] == (
        Run.objects.get().get_absolute_url()
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"mains_v": "150"}, "150 V is outside both mains ranges"),
        ({"port": "C9"}, "has no port “C9”"),
        ({"instruments": ["Nothing"]}, "No instrument is called “Nothing” here."),
        ({"measured_at": "2999-01-01 12:00"}, "lies in the future"),
        ({"ambient_c": "hot"}, "Enter a number."),
        ({"adapter": "nothing"}, "No adapter is called “nothing” here."),
        ({"kind": "weight"}, "“weight” is not a kind of run."),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_nothing_is_changed(
    bench: Client, reviewer: User, changes: dict[str, Any], words: str
) -> None:
    arrival = arrived(reviewer, no_load_log(), **STANDBY)

    answer = bench.post(arrival.get_absolute_url(), {**STANDBY, "note": "Second meter.", **changes})

    assert answer.status_code == 400
    assert words in answer.text
    assert "Second meter." in answer.text
    assert Arrival.objects.get().said == STANDBY


def test_two_columns_that_could_both_be_meant_are_asked_about(
    bench: Client, reviewer: User
) -> None:
    arrival = arrived(reviewer, foreign_log(), **STANDBY)
    address = arrival.get_absolute_url()
    page = bench.get(address)
    assert page.text.count("Could be Input power") == 2
    assert "Takt (s);Kanal 1 (mW);Kanal 2 (mW);Netz (V)" in page.text

    bench.post(address, {**STANDBY, **CHOICE, "do": "look"})
    looked_at(arrival.pk)
    page = bench.get(address)
    assert "Read as you chose." in page.text
    assert "Name of this choice of columns" in page.text
    bench.post(address, {**STANDBY, **CHOICE, "do": "hand-in", "map_name": "Long bench"})
    assert Run.objects.get().column_map == ColumnMap.objects.get(name="Long bench")


def test_a_choice_that_cannot_be_is_said_at_its_heading(bench: Client, reviewer: User) -> None:
    arrival = arrived(reviewer, foreign_log(), **STANDBY)

    answer = bench.post(arrival.get_absolute_url(), {**STANDBY, **CHOICE, "unit-1": "V"})

    assert answer.status_code == 400
    assert "V is not a unit of Input power" in answer.text


def test_what_a_page_does_not_ask_stays_as_it_was(bench: Client, reviewer: User) -> None:
    arrival = arrived(reviewer, foreign_log(), mains_v="230", adapter="northfold-solo-65")
    address = arrival.get_absolute_url()
    assert 'name="mains_v"' not in bench.get(address).text  # no kind, no conditions

    bench.post(address, {"kind": "no-load", "adapter": "northfold-solo-65"})
    assert Arrival.objects.get().said["mains_v"] == "230"
    looked_at(arrival.pk)
    bench.post(address, {**STANDBY, "mains_v": "", "unit": "", "instruments": []})
    assert set(Arrival.objects.get().said) == {"adapter", "kind"}


def test_a_choice_sent_twice_before_it_was_read_stands(bench: Client, reviewer: User) -> None:
    arrival = arrived(reviewer, foreign_log(), **STANDBY)
    for _ in range(2):
        bench.post(arrival.get_absolute_url(), {**STANDBY, **CHOICE, "do": "look"})

    assert Arrival.objects.get().chosen is not None


def test_signs_that_no_database_takes_are_left_out_of_a_reason(
    bench: Client, reviewer: User
) -> None:
    arrival = arrived(reviewer, no_load_log(minutes=5), **STANDBY)
    bench.post(arrival.get_absolute_url(), {**STANDBY, "do": "hand-in", "reason": "Goo\0d."})

    detail = Run.objects.get().events.get(what="warnings accepted").detail
    assert detail.endswith("Good.")


def test_a_file_of_as_many_columns_as_are_read_can_be_described(
    bench: Client, reviewer: User
) -> None:
    heads = ["time_s", "input_power_w", *(f"extra {number}" for number in range(510))]
    rows = [",".join(["0", "0.05", *["1"] * 510]), ",".join(["1", "0.05", *["1"] * 510])]
    arrival = arrived(reviewer, "\n".join([",".join(heads), *rows]).encode(), **STANDBY)
    data = {f"{name}-{number}": "" for name in ("column", "unit") for number in range(512)}
    data |= {"column-0": "time_s", "unit-0": "s", "column-1": "input_power_w", "unit-1": "mW"}

    assert bench.post(arrival.get_absolute_url(), {**STANDBY, **data}).status_code == 302
    assert Arrival.objects.get().chosen is not None


def test_what_was_chosen_can_be_forgotten(bench: Client, reviewer: User) -> None:
    arrival = arrived(reviewer, foreign_log(), **STANDBY)
    address = arrival.get_absolute_url()
    bench.post(address, {**STANDBY, **CHOICE, "do": "look"})
    looked_at(arrival.pk)
    bench.post(address, {**STANDBY, **CHOICE, "do": "forget"})

    assert Arrival.objects.get().chosen is None


def test_problems_are_listed_and_all_of_them_come_as_csv(bench: Client, reviewer: User) -> None:
    rows = "\n".join(f"{second},n/a" for second in range(300))
    content = f"time_s,input_power_w\n{rows}\n=1,@x\n".encode()
    arrival = arrived(reviewer, content, file_name='odd"\n.csv', **STANDBY)

    page = bench.get(arrival.get_absolute_url())
    assert "200 of" in page.text

    answer = bench.get(reverse("arrival-problems", args=[arrival.pk]))
    lines = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert len(lines) == arrival.found["problem_count"] >= 300  # type: ignore[index]
    assert lines[0]["row"] == "2"
    assert lines[0]["column"] == "input_power_w"


def test_those_that_need_no_question_are_handed_in_together(bench: Client, reviewer: User) -> None:
    good = [arrived(reviewer, no_load_log(0.05 + n / 100), **STANDBY) for n in range(2)]
    open_ = arrived(reviewer, no_load_log(0.09))
    page = bench.get(LIST)
    assert page.text.count('name="arrival"') == 2

    answer = bench.post(LIST, {"arrival": [str(item.pk) for item in (*good, open_)]}, follow=True)

    assert "Handed in: 2 runs." in answer.text
    assert "was not handed in: Adapter" in answer.text
    assert Run.objects.count() == 2


def test_a_file_can_be_put_away(bench: Client, reviewer: User) -> None:
    arrival = arrived(reviewer, no_load_log())
    answer = bench.post(arrival.get_absolute_url(), {"do": "put-away"}, follow=True)

    assert "was put away; its bytes are kept" in answer.text
    assert "put away" in bench.get(arrival.get_absolute_url()).text


def test_a_map_is_listed_and_taken_out_of_use(bench: Client, reviewer: User) -> None:
    arrival = arrived(reviewer, foreign_log(), **STANDBY)
    address = arrival.get_absolute_url()
    bench.post(address, {**STANDBY, **CHOICE, "do": "look"})
    looked_at(arrival.pk)
    bench.post(address, {**STANDBY, **CHOICE, "do": "hand-in", "map_name": "Long bench"})
    saved = ColumnMap.objects.get()

    page = bench.get(reverse("column-maps"))
    assert "Long bench" in page.text
    assert "1 run read by it" in page.text
    bench.post(reverse("column-map-retire", args=[saved.pk]))
    assert "Long bench" not in bench.get(reverse("column-maps"), follow=True).text.split("<h1>")[1]
    assert bench.post(reverse("column-map-retire", args=[saved.pk])).status_code == 404
