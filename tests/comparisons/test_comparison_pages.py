"""Comparison tables: built by editors, frozen for everybody."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalog.actions import save_adapter
from catalog.models import Adapter
from comparisons.actions import (
    Refused,
    compared_adapters,
    hash_of,
    publish_comparison,
    revise_comparison,
    save_comparison,
)
from comparisons.models import Comparison
from measurements.kinds.base import Condition
from tests.comparisons.populations import stand, standby_population
from tests.comparisons.test_pages import text_of
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log

pytestmark = pytest.mark.django_db


@pytest.fixture
def pair() -> dict[str, Adapter]:
    return standby_population({"Solo 1": 0.05, "Solo 2": 0.06})


@pytest.fixture
def editor_client(editor: User) -> Client:
    client = Client()
    client.force_login(editor)
    return client


def draft_of(adapters: dict[str, Adapter], *, by: User, title: str = "Two solos") -> Comparison:
    return save_comparison(
        Comparison(title=title, notes="Same bench.\nSame day."),
        adapters=list(adapters.values()),
        metrics=["no-load-power"],
        conditions={},
        by=by,
    )


def table_of(page: bytes) -> bytes:
    """The table itself, without the page around it."""
    start, stop = page.index(b'<table class="comparison">'), page.index(b"</table>")
    return page[start:stop]


def said(**changes: Any) -> dict[str, Any]:
    """What the builder's form sends."""
    return {
        "do": "save",
        "title": "Two solos",
        "adapter": ["northfold-solo-1", "northfold-solo-2"],
        "metric": ["no-load-power"],
        "line": "",
        "output_v": "",
        "notes": "",
        "q": "",
        "seen": "",
    } | changes


def test_an_editor_builds_saves_and_publishes_a_table(
    editor_client: Client, client: Client, pair: dict[str, Adapter]
) -> None:
    saved = editor_client.post("/comparisons/new/", said(), follow=True)
    assert saved.redirect_chain == [("/comparisons/two-solos/", 302)]
    assert "A draft: only editors see it" in saved.content.decode()
    assert client.get("/comparisons/two-solos/").status_code == 404
    assert client.get("/comparisons/two-solos.csv").status_code == 404
    assert "Two solos" not in client.get("/comparisons/").content.decode()
    published = editor_client.post("/comparisons/two-solos/publish/", follow=True)
    assert "Published. The table no longer changes." in published.content.decode()
    page = text_of(client, "/comparisons/two-solos/")
    comparison = Comparison.objects.get()
    assert comparison.frozen_hash in page
    assert "Frozen on" in page
    assert "Methods: Standby power 1.0." in page
    assert "best 0.0500 ± 0.0010" in page
    assert "Two solos" in client.get("/comparisons/").content.decode()


@pytest.mark.parametrize("role", ["reader", "reviewer", ""])
def test_only_editors_write_tables_and_see_drafts(
    role: str, person: Callable[[str], User], editor: User, pair: dict[str, Adapter]
) -> None:
    draft = draft_of(pair, by=editor)
    client = Client()
    refused = 302
    if role:
        client.force_login(person(role))
        refused = 403
    assert client.get("/comparisons/new/").status_code == refused
    assert client.post("/comparisons/new/", said(title="Mine")).status_code == refused
    assert client.get(f"/comparisons/{draft.slug}/edit/").status_code == refused
    assert client.post(f"/comparisons/{draft.slug}/publish/").status_code == refused
    assert client.post(f"/comparisons/{draft.slug}/revise/").status_code == refused
    assert client.get(f"/comparisons/{draft.slug}/").status_code == 404
    draft.refresh_from_db()
    assert draft.state == Comparison.State.DRAFT
    assert Comparison.objects.count() == 1


def test_publishing_and_revising_take_a_post(
    editor_client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    draft = draft_of(pair, by=editor)
    assert editor_client.get(f"/comparisons/{draft.slug}/publish/").status_code == 405
    assert editor_client.get(f"/comparisons/{draft.slug}/revise/").status_code == 405


def test_a_published_table_stays_the_same_by_hash_after_later_runs(
    client: Client, editor: User
) -> None:
    adapters = {name: make_adapter(name) for name in ("Solo 1", "Solo 2")}
    first = accepted(adapters["Solo 1"], no_load_log(0.05), by=editor)
    accepted(adapters["Solo 2"], no_load_log(0.06), by=editor)
    published = publish_comparison(draft_of(adapters, by=editor), by=editor)
    before = table_of(client.get("/comparisons/two-solos/").content)
    file_before = client.get("/comparisons/two-solos.csv").content
    accepted(adapters["Solo 1"], no_load_log(0.09), by=editor)
    adapters["Solo 2"].name = "Solo 2 renamed"
    save_adapter(adapters["Solo 2"])
    published.refresh_from_db()
    assert hash_of(published.frozen) == published.frozen_hash
    assert table_of(client.get("/comparisons/two-solos/").content) == before
    assert client.get("/comparisons/two-solos.csv").content == file_before
    assert f"/runs/{first.pk}/".encode() in before
    assert b"Solo 2 renamed" not in before


def test_a_draft_follows_the_newest_accepted_runs(editor_client: Client, editor: User) -> None:
    adapters = {"Solo 1": make_adapter("Solo 1")}
    accepted(adapters["Solo 1"], no_load_log(0.05), by=editor)
    draft_of(adapters, by=editor)
    assert "0.0500" in text_of(editor_client, "/comparisons/two-solos/")
    accepted(adapters["Solo 1"], no_load_log(0.09), by=editor)
    page = text_of(editor_client, "/comparisons/two-solos/")
    assert "0.0900" in page
    assert "0.0500" not in page


def test_a_published_page_reads_values_only_to_tell_what_is_newer(
    client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    publish_comparison(draft_of(pair, by=editor), by=editor)
    with CaptureQueriesContext(connection) as captured:
        assert client.get("/comparisons/two-solos/").status_code == 200
    assert len([query for query in captured if 'FROM "measurements_value"' in query["sql"]]) == 1
    assert not [query for query in captured if 'FROM "measurements_run"' in query["sql"]]
    with CaptureQueriesContext(connection) as captured:
        assert client.get("/comparisons/two-solos.csv").status_code == 200
    assert not [query for query in captured if "measurements_value" in query["sql"]]


def test_best_is_marked_only_beyond_the_combined_uncertainty(
    editor_client: Client, editor: User
) -> None:
    near = standby_population({"Solo 1": 0.0500, "Solo 2": 0.0510})
    draft_of(near, by=editor)
    assert "best-word" not in editor_client.get("/comparisons/two-solos/").content.decode()
    far = {"Solo 1": near["Solo 1"], "Solo 3": standby_population({"Solo 3": 0.07})["Solo 3"]}
    draft_of(far, by=editor, title="Far apart")
    page = editor_client.get("/comparisons/far-apart/").content.decode()
    assert page.count("best-word") == 1


def test_a_value_that_is_not_comparable_is_shown_with_its_reason_and_never_best(
    editor_client: Client, editor: User
) -> None:
    adapters = standby_population({"Solo 1": 0.05})
    adapters["Odd 1"] = make_adapter("Odd 1")
    stand(adapters["Odd 1"], 0.01, apart="The room was too warm.")
    draft_of(adapters, by=editor)
    page = text_of(editor_client, "/comparisons/two-solos/")
    assert "not comparable: The room was too warm." in page
    assert "best 0" not in page


def test_what_was_not_tested_says_so_and_conditions_have_their_own_rows(
    editor_client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    for voltage in (9.0, 20.0):
        stand(
            pair["Solo 1"],
            90.0,
            metric="average-efficiency",
            condition=Condition(line="high", output_v=voltage),
        )
    save_comparison(
        Comparison(title="Rows"),
        adapters=list(pair.values()),
        metrics=["average-efficiency", "thermal-headroom"],
        conditions={},
        by=editor,
    )
    page = text_of(editor_client, "/comparisons/rows/")
    assert page.index("230 V mains, 20 V output") < page.index("230 V mains, 9 V output")
    assert page.count("not tested") == 4


def test_an_adapter_under_embargo_keeps_a_table_from_being_published(
    editor_client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    until = timezone.now().date() + timedelta(days=9)
    pair["Secret 1"] = make_adapter("Secret 1", publish_on=until)
    draft = draft_of(pair, by=editor)
    response = editor_client.post(f"/comparisons/{draft.slug}/publish/")
    assert response.status_code == 409
    assert "Still under embargo: Northfold Secret 1" in response.content.decode()
    draft.refresh_from_db()
    assert draft.state == Comparison.State.DRAFT


def test_a_published_table_is_never_edited_or_published_again(
    editor_client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    published = publish_comparison(draft_of(pair, by=editor), by=editor)
    before = published.frozen_hash
    edited = editor_client.post("/comparisons/two-solos/edit/", said(title="Changed"))
    assert edited.status_code == 409
    assert "never changes" in edited.content.decode()
    assert editor_client.post("/comparisons/two-solos/publish/").status_code == 409
    published.refresh_from_db()
    assert (published.title, published.frozen_hash) == ("Two solos", before)
    with pytest.raises(Refused, match="never changes"):
        save_comparison(
            published,
            adapters=list(pair.values()),
            metrics=["no-load-power"],
            conditions={},
            by=None,
        )


def test_a_revision_has_a_new_address_and_the_old_one_stays(
    editor_client: Client, client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    publish_comparison(draft_of(pair, by=editor), by=editor)
    response = editor_client.post("/comparisons/two-solos/revise/")
    assert response.status_code == 302
    assert response["Location"] == "/comparisons/two-solos-2/edit/"
    revision = Comparison.objects.get(slug="two-solos-2")
    assert compared_adapters(revision) == list(pair.values())
    assert "later revision" not in text_of(client, "/comparisons/two-solos/")
    publish_comparison(revision, by=editor)
    assert "There is a later revision" in text_of(client, "/comparisons/two-solos/")
    assert "A revision of Two solos" in text_of(client, "/comparisons/two-solos-2/")
    with pytest.raises(Refused, match="still a draft"):
        revise_comparison(draft_of(pair, by=editor, title="Other"), by=editor)


def test_searching_keeps_what_was_ticked_and_written(
    editor_client: Client, pair: dict[str, Adapter]
) -> None:
    response = editor_client.post(
        "/comparisons/new/",
        said(do="find", q="solo 2", adapter=["northfold-solo-1"], title="Mine", notes="A note"),
    )
    assert response.status_code == 200
    page = response.content.decode()
    assert 'value="northfold-solo-1" checked' in page
    assert 'value="northfold-solo-2">' in page
    assert 'value="Mine"' in page
    assert "A note" in page
    assert 'value="no-load-power" checked' in page
    assert "As it stands now" in page
    assert Comparison.objects.count() == 0


def test_an_address_can_carry_the_adapters_to_start_from(
    editor_client: Client, pair: dict[str, Adapter]
) -> None:
    page = editor_client.get("/comparisons/new/?adapter=northfold-solo-1&q=solo").content.decode()
    assert 'value="northfold-solo-1" checked' in page
    assert 'value="northfold-solo-2">' in page


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"title": ""}, "This field is required"),
        ({"title": "x" * 151}, "at most 150 characters"),
        ({"title": "a\0b"}, "Null characters"),
        ({"adapter": []}, "0 are ticked"),
        ({"adapter": ["no\0pe", "northfold-nobody"]}, "0 are ticked"),
        ({"metric": []}, "Choose at least one metric"),
        ({"metric": ["time-constant"]}, "not a metric that can be compared"),
        ({"output_v": "many"}, "Enter a number"),
        ({"line": "middle"}, "Select a valid choice"),
        ({"notes": "x" * 5001}, "at most 5000 characters"),
        ({"q": "x" * 101}, "at most 100 characters"),
    ],
)
def test_a_table_that_cannot_be_saved_says_why_and_keeps_the_rest(
    editor_client: Client, pair: dict[str, Adapter], changes: dict[str, Any], sentence: str
) -> None:
    response = editor_client.post("/comparisons/new/", said(**{"notes": "My note."} | changes))
    assert response.status_code == 400
    page = response.content.decode()
    assert sentence in page
    if "notes" not in changes:
        assert "My note." in page
    assert Comparison.objects.count() == 0


def test_a_table_has_no_more_adapters_than_can_be_read(editor_client: Client) -> None:
    adapters = [make_adapter(f"Solo {number}") for number in range(13)]
    response = editor_client.post(
        "/comparisons/new/", said(adapter=[adapter.slug for adapter in adapters])
    )
    assert response.status_code == 400
    assert "Choose from 1 to 12 adapters; 13 are ticked." in response.content.decode()


def test_two_editors_do_not_undo_each_other_unknowingly(
    editor_client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    draft = draft_of(pair, by=editor)
    seen = draft.changed_at.isoformat()
    first = editor_client.post(f"/comparisons/{draft.slug}/edit/", said(title="First", seen=seen))
    assert first.status_code == 302
    second = editor_client.post(f"/comparisons/{draft.slug}/edit/", said(title="Second", seen=seen))
    assert second.status_code == 400
    assert "Somebody else saved this draft" in second.content.decode()
    assert 'value="Second"' in second.content.decode()
    draft.refresh_from_db()
    assert draft.title == "First"
    again = said(title="Second", seen=draft.changed_at.isoformat())
    assert draft.changed_at.isoformat().replace("+00:00", "") in second.content.decode()
    assert editor_client.post(f"/comparisons/{draft.slug}/edit/", again).status_code == 302


def test_editing_starts_from_what_was_saved(
    editor_client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    draft_of(pair, by=editor)
    page = editor_client.get("/comparisons/two-solos/edit/").content.decode()
    assert 'value="Two solos"' in page
    assert 'value="northfold-solo-1" checked' in page
    assert "Same bench." in page


def test_a_title_never_takes_the_address_of_a_page(
    editor_client: Client, pair: dict[str, Adapter]
) -> None:
    response = editor_client.post("/comparisons/new/", said(title="New"))
    assert response["Location"] == "/comparisons/new-2/"


def test_the_file_of_a_table_holds_every_cell(
    client: Client, editor: User, pair: dict[str, Adapter]
) -> None:
    published = publish_comparison(draft_of(pair, by=editor), by=editor)
    response = client.get("/comparisons/two-solos.csv")
    rows = list(csv.DictReader(io.StringIO(response.content.decode())))
    assert [(row["adapter"], float(row["value"]), row["best"]) for row in rows] == [
        ("northfold-solo-1", 0.05, "best"),
        ("northfold-solo-2", 0.06, ""),
    ]
    assert published.frozen is not None
    assert rows[0]["run"] == published.frozen["rows"][0]["cells"][0]["run"]
    assert response["Content-Disposition"] == 'attachment; filename="two-solos.csv"'
