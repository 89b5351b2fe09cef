"""Building a comparison with forms alone: order, headings, conditions, notes, drawings."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from catalog.models import Adapter
from comparisons.actions import compared_adapters
from comparisons.forms.builder import condition_of_key
from comparisons.models import Comparison
from comparisons.queries.contents import groups_of
from measurements.kinds.base import Condition
from tests.comparisons.populations import stand, standby_population
from tests.comparisons.test_comparison_pages import draft_of, said

pytestmark = pytest.mark.django_db

ONE, TWO, THREE = "northfold-solo-1", "northfold-solo-2", "northfold-solo-3"
METRICS = ["no-load-power", "average-efficiency", "power-density"]


@pytest.fixture
def adapters() -> dict[str, Adapter]:
    return standby_population({"Solo 1": 0.05, "Solo 2": 0.06, "Solo 3": 0.07})


@pytest.fixture
def desk(editor: User) -> Client:
    client = Client()
    client.force_login(editor)
    return client


def ticked(page: str, name: str) -> list[str]:
    return re.findall(rf'name="{name}" value="([^"]+)" checked', page)


def pressed(desk: Client, button: str, **changes: Any) -> str:
    sent = said(do=button, adapter=[ONE, TWO, THREE], metric=METRICS, title="Mine") | changes
    return desk.post("/comparisons/new/", sent).content.decode()


@pytest.mark.parametrize(
    ("button", "name", "order"),
    [
        (f"adapter-up {TWO}", "adapter", [TWO, ONE, THREE]),
        (f"adapter-down {TWO}", "adapter", [ONE, THREE, TWO]),
        (f"adapter-up {ONE}", "adapter", [ONE, TWO, THREE]),
        ("metric-down no-load-power", "metric", [METRICS[1], METRICS[0], METRICS[2]]),
        ("metric-up power-density", "metric", [METRICS[0], METRICS[2], METRICS[1]]),
        ("metric-up nothing", "metric", METRICS),
        ("metric-sideways no-load-power", "metric", METRICS),
        ("title-up Mine", "metric", METRICS),
    ],
)
def test_buttons_move_what_is_ticked_and_keep_the_rest(
    desk: Client, adapters: dict[str, Adapter], button: str, name: str, order: list[str]
) -> None:
    page = pressed(desk, button, notes="A note", **{f"group:{TWO}": "At home"})
    assert ticked(page, name) == order
    assert 'value="Mine"' in page
    assert 'value="At home"' in page
    assert "A note" in page
    assert Comparison.objects.count() == 0


def test_the_keyboard_stays_with_what_was_moved(desk: Client, adapters: dict[str, Adapter]) -> None:
    page = pressed(desk, f"adapter-up {THREE}")
    assert re.search(f'value="adapter-up {THREE}" formnovalidate autofocus', page)
    # At the top there is no way up any more.
    page = pressed(desk, f"adapter-up {TWO}")
    assert re.search(f'value="adapter-down {TWO}" formnovalidate autofocus', page)
    assert f'value="adapter-up {TWO}"' not in page
    assert page.count("autofocus") == 1


def test_what_is_built_is_saved_and_shown_as_it_was_laid_out(
    desk: Client, adapters: dict[str, Adapter]
) -> None:
    for volts in (9.0, 20.0):
        condition = Condition(line="high", output_v=volts)
        stand(adapters["Solo 1"], 90.0, metric="average-efficiency", condition=condition)
    sent = said(
        adapter=[TWO, ONE],
        metric=["average-efficiency", "no-load-power"],
        notes="All of them new.\n\nBought in shops.",
        note_adapter=[ONE, TWO, THREE],
        note_metric=["no-load-power", "no-load-power", "no-load-power"],
        note_text=["Repeated.", " ", "Not in the table."],
        block=["sharing:high"],
    )
    sent |= {
        f"group:{ONE}": " At home ",
        f"group:{TWO}": "At home",
        "condition:average-efficiency": "line=high;output_v=20",
    }
    answer = desk.post("/comparisons/new/", sent)
    assert answer.status_code == 302, answer.content.decode()
    saved = Comparison.objects.get()
    assert [adapter.slug for adapter in compared_adapters(saved)] == [TWO, ONE]
    assert groups_of(saved) == {TWO: "At home", ONE: "At home"}
    assert saved.metrics == ["average-efficiency", "no-load-power"]
    assert saved.metric_conditions == [
        {"metric": "average-efficiency", "conditions": {"line": "high", "output_v": 20.0}}
    ]
    assert saved.cell_notes == [{"adapter": ONE, "metric": "no-load-power", "text": "Repeated."}]
    assert saved.blocks == ["sharing:high"]

    page = desk.get(answer["Location"]).content.decode()
    assert '<th scope="colgroup" colspan="2"><span>At home</span></th>' in page
    assert "20 V output" in page
    assert "9 V output" not in page
    assert '<li id="remark-3">Northfold Solo 1, standby power: Repeated.</li>' in page
    assert page.count('href="#remark-3"') == 1
    # The builder starts from all of it.
    form = desk.get(f"{answer['Location']}edit/").content.decode()
    assert ticked(form, "adapter") == [TWO, ONE]
    assert ticked(form, "metric") == ["average-efficiency", "no-load-power"]
    assert '<option value="line=high;output_v=20" selected>' in form
    assert 'value="Repeated."' in form
    assert form.count('value="At home"') == 2


def test_a_condition_that_nobody_has_now_stays_chosen(
    desk: Client, adapters: dict[str, Adapter]
) -> None:
    page = pressed(desk, "show", **{"condition:no-load-power": "line=low"})
    assert '<option value="line=low" selected>115 V mains</option>' in page


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("line=high;output_v=20", {"line": "high", "output_v": 20.0}),
        ("device=laptop", {"device": "laptop"}),
        ("", None),
        ("line", None),
        ("colour=red", None),
        ("output_v=many", None),
        ("output_v=20;line=high", None),
        ("line=high;line=high", None),
        ("output_v=nan", None),
        ("output_v=inf", None),
        ("line=a\0b", None),
    ],
)
def test_a_condition_is_read_from_its_key(text: str, parts: dict[str, Any] | None) -> None:
    assert condition_of_key(text) == parts


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({f"group:{ONE}": "x" * 61}, "A heading over adapters has at most 60 characters."),
        ({f"group:{ONE}": "a\0b"}, "NUL characters and lone surrogates are not allowed."),
        ({"condition:no-load-power": "colour=red"}, "“colour=red” is not a condition."),
        ({"block": ["sideways"]}, "“sideways” names no drawing."),
        ({"block": [f"charges:{at}" for at in range(13)]}, "Choose at most 12 drawings."),
        (
            {
                "note_adapter": [ONE],
                "note_metric": ["no-load-power"],
                "note_text": ["x" * 1001],
            },
            "A note on a cell has at most 1000 characters.",
        ),
        (
            {
                "note_adapter": [ONE] * 101,
                "note_metric": ["no-load-power"] * 101,
                "note_text": ["x"] * 101,
            },
            "Write at most 100 notes on cells.",
        ),
    ],
)
def test_what_cannot_be_laid_out_is_refused_in_a_sentence(
    desk: Client, adapters: dict[str, Adapter], changes: dict[str, Any], sentence: str
) -> None:
    answer = desk.post("/comparisons/new/", said() | changes)
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert Comparison.objects.count() == 0


def test_any_page_leads_an_adapter_into_a_new_table_or_a_draft(
    desk: Client, editor: User, adapters: dict[str, Adapter]
) -> None:
    draft_of({"Solo 1": adapters["Solo 1"]}, by=editor)
    page = desk.get(f"/comparisons/new/?adapter={TWO}").content.decode()
    assert ticked(page, "adapter") == [TWO]
    link = f"/comparisons/two-solos/edit/?adapter={TWO}"
    assert f'href="{link}">Two solos</a>' in page
    assert ticked(desk.get(link).content.decode(), "adapter") == [ONE, TWO]


def test_a_preview_is_what_readers_will_see_and_for_editors_only(
    desk: Client, client: Client, editor: User, adapters: dict[str, Adapter]
) -> None:
    draft = draft_of(adapters, by=editor)
    address = f"/comparisons/{draft.slug}/preview/"
    assert client.get(address).status_code == 302
    page = desk.get(address).content.decode()
    assert "A preview: this is what readers will see." in page
    assert "0.0500" in page
    desk.post(f"/comparisons/{draft.slug}/publish/")
    assert desk.get(address)["Location"] == f"/comparisons/{draft.slug}/"


def test_the_builder_takes_the_same_queries_for_one_adapter_and_for_many(
    desk: Client, editor: User
) -> None:
    counts = []
    for count in (2, 9):
        names = {f"Solo {count}{number}": 0.05 + number / 100 for number in range(count)}
        many = standby_population(names)
        sent = said(do="show", adapter=[adapter.slug for adapter in many.values()])
        with CaptureQueriesContext(connection) as captured:
            assert desk.post("/comparisons/new/", sent).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_a_remark_on_what_was_not_tested_stands_there(
    desk: Client, adapters: dict[str, Adapter]
) -> None:
    sent = said(
        adapter=[ONE],
        metric=["thermal-headroom"],
        note_adapter=[ONE],
        note_metric=["thermal-headroom"],
        note_text=["<b>Too large</b> for the chamber."],
    )
    page = desk.post("/comparisons/new/", sent, follow=True).content.decode()
    assert "not tested</span><a " in page
    assert "&lt;b&gt;Too large&lt;/b&gt; for the chamber." in page
