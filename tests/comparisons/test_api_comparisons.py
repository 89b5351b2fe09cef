"""Comparison tables over HTTP."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from catalog.models import Adapter
from comparisons.models import Comparison
from measurements.models import Value
from tests.factories.api import assert_problem, client_of, faulty_fields
from tests.factories.rankings import four_ranked

pytestmark = pytest.mark.django_db

COMPARISONS = "/api/v1/comparisons/"


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


@pytest.fixture
def writer(editor: User) -> APIClient:
    return client_of(editor)


@pytest.fixture
def four() -> list[Adapter]:
    return four_ranked()


@pytest.fixture
def body(four: list[Adapter]) -> dict[str, Any]:
    return {
        "title": "Standby of the small ones",
        "adapters": [four[1].slug, four[0].slug],
        "metrics": ["no-load-power", "specific-power"],
        "conditions": {"line": "high"},
        "notes": "Measured in spring.",
    }


def test_a_comparison_goes_from_draft_to_published(
    anyone: APIClient, writer: APIClient, body: dict[str, Any]
) -> None:
    answer = writer.post(COMPARISONS, body, format="json")
    assert answer.status_code == 201, answer.content
    content = answer.json()
    address = f"{COMPARISONS}{content['slug']}/"
    assert answer["Location"] == address
    assert (content["state"], content["hash"]) == ("draft", None)
    for name, said in body.items():
        assert content[name] == said
    cells = content["table"]["rows"][0]["cells"]
    assert [cell["value"] for cell in cells] == [0.1, 0.05]
    assert [cell["best"] for cell in cells] == [False, True]
    assert_problem(anyone.get(address), 404)
    assert anyone.get(COMPARISONS).json()["results"] == []

    published = writer.post(f"{address}publish/")
    assert published.status_code == 200
    assert published.json()["state"] == "published"
    shown = anyone.get(address).json()
    assert shown == published.json()
    canonical = json.dumps(shown["table"], sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    assert shown["hash"] == hashlib.sha256(canonical.encode("ascii")).hexdigest()
    (row,) = anyone.get(COMPARISONS).json()["results"]
    assert (row["slug"], row["hash"]) == (content["slug"], shown["hash"])


def test_a_published_comparison_never_changes(
    anyone: APIClient, writer: APIClient, body: dict[str, Any], four: list[Adapter]
) -> None:
    address = writer.post(COMPARISONS, body, format="json")["Location"]
    writer.post(f"{address}publish/")
    before = anyone.get(address)
    Value.objects.filter(adapter=four[0]).update(value=9.0)
    change = writer.patch(address, {"title": "x"}, format="json", headers={"If-Match": "*"})
    assert_problem(change, 409, name="conflict")
    assert_problem(writer.post(f"{address}publish/"), 409, name="conflict")
    after = anyone.get(address)
    assert (after.json(), after["ETag"]) == (before.json(), before["ETag"])


def test_a_revision_is_a_draft_at_a_new_address(
    anyone: APIClient, writer: APIClient, body: dict[str, Any]
) -> None:
    address = writer.post(COMPARISONS, body, format="json")["Location"]
    assert_problem(writer.post(f"{address}revise/"), 409, name="conflict")
    writer.post(f"{address}publish/")
    answer = writer.post(f"{address}revise/")
    assert answer.status_code == 201
    assert answer["Location"] != address
    assert answer.json()["revises"] == address.split("/")[-2]
    assert answer.json()["adapters"] == body["adapters"]
    assert_problem(anyone.get(answer["Location"]), 404)
    assert anyone.get(address).status_code == 200


def test_a_draft_is_changed_only_as_the_version_that_was_read(
    writer: APIClient, body: dict[str, Any], four: list[Adapter]
) -> None:
    created = writer.post(COMPARISONS, body, format="json")
    address, tag = created["Location"], created["ETag"]
    change = {"adapters": [four[2].slug, four[3].slug], "notes": ""}
    assert_problem(writer.patch(address, change, format="json"), 428)
    answer = writer.patch(address, change, format="json", headers={"If-Match": tag})
    assert answer.status_code == 200, answer.content
    assert answer.json()["adapters"] == change["adapters"]
    assert (answer.json()["notes"], answer.json()["title"]) == ("", body["title"])
    assert answer["ETag"] == writer.get(address)["ETag"]
    stale = writer.patch(address, change, format="json", headers={"If-Match": tag})
    assert_problem(stale, 412, name="stale")


WRONG: list[tuple[dict[str, Any], str]] = [
    ({"title": ""}, "title"),
    ({"title": "x" * 151}, "title"),
    ({"title": 5}, "title"),
    ({"adapters": []}, "adapters"),
    ({"adapters": "northfold-solo-65"}, "adapters"),
    ({"adapters": ["none-such"]}, "adapters"),
    ({"adapters": ["a\0b"]}, "adapters"),
    ({"adapters": [5]}, "adapters"),
    ({"adapters": ["northfold-solo-65"] * 13}, "adapters"),
    ({"metrics": []}, "metrics"),
    ({"metrics": ["none-such"]}, "metrics"),
    ({"metrics": None}, "metrics"),
    ({"conditions": []}, "conditions"),
    ({"conditions": {"line": "230"}}, "conditions.line"),
    ({"conditions": {"output_v": "20"}}, "conditions.output_v"),
    ({"conditions": {"colour": "red"}}, "conditions.colour"),
    ({"conditions": {"device": "a\0b"}}, "conditions.device"),
    ({"notes": "x" * 20_001}, "notes"),
    ({"state": "published"}, "state"),
    ({"frozen": {}}, "frozen"),
    ({"slug": "mine"}, "slug"),
    ({"blocks": ["sideways"]}, "blocks"),
    ({"cell_notes": [{"adapter": "a", "metric": "no-load-power"}]}, "cell_notes.0.text"),
    ({"groups": [{"adapter": "a", "group": "x" * 61}]}, "groups.0.group"),
    (
        {"metric_conditions": [{"metric": "no-load-power", "conditions": {"line": "230"}}]},
        "metric_conditions.0.conditions.line",
    ),
]


@pytest.mark.parametrize(("wrong", "field"), WRONG)
def test_a_wrong_table_is_refused_by_field(
    writer: APIClient, body: dict[str, Any], wrong: dict[str, Any], field: str
) -> None:
    found = faulty_fields(writer.post(COMPARISONS, {**body, **wrong}, format="json"))
    assert {name.removesuffix(".0") for name in found} == {field}
    assert not Comparison.objects.exists()
    address = writer.post(COMPARISONS, body, format="json")["Location"]
    before = writer.get(address).json()
    change = writer.patch(address, wrong, format="json", headers={"If-Match": "*"})
    assert field in {name.removesuffix(".0") for name in faulty_fields(change)}
    assert writer.get(address).json() == before


LAYOUT: dict[str, Any] = {
    "cell_notes": [
        {"adapter": "northfold-solo-45", "metric": "no-load-power", "text": "Measured twice."}
    ],
    "groups": [{"adapter": "northfold-solo-45", "group": "At home"}],
    "metric_conditions": [{"metric": "no-load-power", "conditions": {"line": "high"}}],
    "blocks": ["sharing:high"],
}


def test_a_layout_goes_in_and_comes_out_and_follows_what_is_left(
    writer: APIClient, body: dict[str, Any], four: list[Adapter]
) -> None:
    slugs = [four[0].slug, four[1].slug]
    assert "northfold-solo-45" in slugs
    made = writer.post(COMPARISONS, {**body, "adapters": slugs, **LAYOUT}, format="json")
    assert made.status_code == 201, made.content
    content = made.json()
    assert {name: content[name] for name in LAYOUT} == LAYOUT
    columns = {item["slug"]: item["group"] for item in content["table"]["adapters"]}
    assert columns["northfold-solo-45"] == "At home"
    (remark,) = content["table"]["remarks"]
    assert (remark["number"], remark["text"]) == (2, "Measured twice.")
    assert [2] in content["table"]["rows"][0]["remarks"]

    # A change of one field keeps the others; what was said of an adapter goes with it.
    address, tag = made["Location"], made["ETag"]
    change = {"adapters": [slug for slug in slugs if slug != "northfold-solo-45"]}
    left = writer.patch(address, change, format="json", headers={"If-Match": tag})
    assert left.status_code == 200, left.content
    assert (left.json()["cell_notes"], left.json()["groups"]) == ([], [])
    assert left.json()["metric_conditions"] == LAYOUT["metric_conditions"]
    assert left.json()["blocks"] == LAYOUT["blocks"]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"cell_notes": [{"adapter": "a", "metric": "no-load-power", "text": "b"}]}, "cell_notes"),
        ({"groups": [{"adapter": "a", "group": "b"}]}, "groups"),
        (
            {"metric_conditions": [{"metric": "time-constant", "conditions": {}}]},
            "metric_conditions",
        ),
    ],
)
def test_what_is_said_of_something_that_is_not_in_the_table_is_refused(
    writer: APIClient, body: dict[str, Any], wrong: dict[str, Any], field: str
) -> None:
    problem = assert_problem(writer.post(COMPARISONS, {**body, **wrong}, format="json"), 409)
    assert problem["errors"][0]["field"] == field
    assert not Comparison.objects.exists()


def test_a_table_with_an_embargoed_adapter_is_not_published(
    writer: APIClient, body: dict[str, Any], four: list[Adapter]
) -> None:
    address = writer.post(COMPARISONS, body, format="json")["Location"]
    Adapter.objects.filter(pk=four[0].pk).update(publish_on=date(2999, 1, 1))
    problem = assert_problem(writer.post(f"{address}publish/"), 409, name="conflict")
    assert problem["errors"][0]["field"] == "adapters"


def test_a_draft_is_hidden_from_everybody_who_may_not_write_it(
    body: dict[str, Any], writer: APIClient, person: Callable[[str], User]
) -> None:
    address = writer.post(COMPARISONS, body, format="json")["Location"]
    for role in ("reader", "reviewer"):
        client = client_of(person(role))
        assert_problem(client.get(address), 404)
        assert client.get(COMPARISONS).json()["results"] == []


def test_the_list_takes_the_same_queries_for_3_and_for_30_tables(
    anyone: APIClient, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(30):
        Comparison.objects.create(
            title=f"T {number}",
            slug=f"t-{number}",
            state="published",
            published_at=timezone.now(),
            frozen={"rows": []},
            frozen_hash="0" * 64,
        )
        if number in (2, 29):
            with django_assert_num_queries(1):
                anyone.get(COMPARISONS)
