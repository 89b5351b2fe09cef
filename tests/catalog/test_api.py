"""Adapters over HTTP."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from catalog.actions import ClaimFacts, PortFacts
from catalog.models import Adapter, Maker, Protocol
from measurements.models import Run
from tests.factories.api import ADAPTER, assert_problem, client_of, faulty_fields, walk
from tests.factories.catalog import make_adapter
from tests.factories.measurements import receive

pytestmark = pytest.mark.django_db

LIST = "/api/v1/adapters/"
ONE = "/api/v1/adapters/northfold-solo-65/"


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


@pytest.fixture
def writer(reviewer: User) -> APIClient:
    return client_of(reviewer)


def tomorrow() -> date:
    return timezone.now().date() + timedelta(days=1)


def test_an_adapter_is_written_and_read_back_by_everybody(
    writer: APIClient, anyone: APIClient
) -> None:
    body = {
        **ADAPTER,
        "model_number": "T-140",
        "supply": "adaptive",
        "mains_min_v": 100,
        "mains_max_v": 240,
        "length_mm": 60,
        "width_mm": 50.5,
        "height_mm": 30,
        "mass_g": 190,
        "enclosure": "plastic",
        "plug": "type C",
        "released_on": "2026-02-01",
        "claims": [
            {
                **{"text": "20 V 5 A", "port": "C1", "voltage_v": 20, "current_a": 5},
                **{"combination": "", "power_w": None},
            },
            {
                **{"text": "C1 100 W", "port": "C1", "voltage_v": None, "current_a": None},
                **{"combination": "C1+A1", "power_w": 100},
            },
        ],
    }
    answer = writer.post(LIST, body, format="json")
    assert answer.status_code == 201
    assert answer["Location"] == "/api/v1/adapters/northfold-trio-140/"
    read = anyone.get(answer["Location"])
    assert read.json() == answer.json()
    assert read["ETag"] == answer["ETag"]
    content = read.json()
    assert content["slug"] == "northfold-trio-140"
    for name in set(body) - {"ports"}:
        assert content[name] == body[name], name
    assert [port["label"] for port in content["ports"]] == ["C1", "A1"]
    assert content["ports"][1]["rated_power_w"] is None


def test_values_that_follow_from_the_entry_stand_at_once(
    writer: APIClient, anyone: APIClient
) -> None:
    writer.post(LIST, {**ADAPTER, "mass_g": 200}, format="json")
    values = anyone.get("/api/v1/values/?metric=specific-power").json()["results"]
    assert [(row["adapter"], row["value"]) for row in values] == [("northfold-trio-140", 0.7)]


def test_a_new_maker_is_written_down_once(writer: APIClient) -> None:
    writer.post(LIST, ADAPTER, format="json")
    writer.post(LIST, {**ADAPTER, "maker": "NORTHFOLD", "name": "Solo"}, format="json")
    assert Maker.objects.count() == 1


def test_the_same_name_of_the_same_maker_is_refused(writer: APIClient) -> None:
    writer.post(LIST, ADAPTER, format="json")
    assert faulty_fields(writer.post(LIST, ADAPTER, format="json")) == {"name"}
    assert Adapter.objects.count() == 1


SHARED = {"text": "C1 100 W", "port": "C1", "combination": "C1+A1", "power_w": 100}
WRONG: list[tuple[dict[str, Any], str]] = [
    ({"maker": None}, "maker"),
    ({"maker": ""}, "maker"),
    ({"maker": "x" * 101}, "maker"),
    ({"name": "x" * 100_000}, "name"),
    ({"name": "a\0b"}, "name"),
    ({"name": ["Trio"]}, "name"),
    ({"rated_power_w": "140"}, "rated_power_w"),
    ({"rated_power_w": 0}, "rated_power_w"),
    ({"rated_power_w": -1}, "rated_power_w"),
    ({"rated_power_w": 10_001}, "rated_power_w"),
    ({"rated_power_w": True}, "rated_power_w"),
    ({"rated_power_w": 10**400}, "rated_power_w"),
    ({"mains_min_v": 100}, "body"),
    ({"mains_min_v": 240, "mains_max_v": 100}, "body"),
    ({"length_mm": 60, "width_mm": None}, "body"),
    ({"length_mm": 1e-300, "width_mm": 1, "height_mm": 1}, "length_mm"),
    ({"mass_g": 0}, "mass_g"),
    ({"enclosure": "paper"}, "enclosure"),
    ({"supply": "magic"}, "supply"),
    ({"publish_on": "soon"}, "publish_on"),
    ({"publish_on": 20260404}, "publish_on"),
    ({"publish_on": "2026-02-30"}, "publish_on"),
    ({"ports": None}, "ports"),
    ({"ports": "C1"}, "ports"),
    ({"ports": ["C1"]}, "ports.0"),
    ({"ports": [{}]}, "ports.0.label"),
    ({"ports": [{"label": "C1", "connector": "usb-z"}]}, "ports.0.connector"),
    ({"ports": [{"label": "C1", "connector": "usb-c"}] * 2}, "ports"),
    ({"ports": [{"label": "C1", "connector": "usb-c", "pin": 1}]}, "ports.0.pin"),
    (
        {"ports": [{"label": "C1", "connector": "usb-c", "protocols": ["none-such"]}]},
        "ports.0.protocols",
    ),
    ({"ports": [{"label": str(i), "connector": "usb-c"} for i in range(33)]}, "ports"),
    ({"claims": [{"text": "20 V", "voltage_v": 20}]}, "body"),
    ({"claims": [{"text": "20 V 5 A", "port": "C9"}]}, "claims"),
    ({"claims": [{**SHARED, "combination": ""}]}, "claims.0.combination"),
    ({"claims": [{**SHARED, "power_w": None}]}, "claims.0.power_w"),
    ({"claims": [{**SHARED, "power_w": 0}]}, "claims.0.power_w"),
    ({"claims": [{**SHARED, "port": ""}]}, "claims.0.port"),
    ({"claims": [{"text": "plain"}, {**SHARED, "combination": "C1+C9"}]}, "claims.1.combination"),
    ({"claims": [{**SHARED, "combination": "C1"}]}, "claims.0.combination"),
    ({"claims": [{**SHARED, "combination": "C1+C1"}]}, "claims.0.combination"),
    ({"claims": [{**SHARED, "combination": ["C1", "A1"]}]}, "claims.0.combination"),
    ({"slug": "mine"}, "slug"),
    ({"id": 1}, "id"),
    ({"created_at": "2020-01-01"}, "created_at"),
    ({"maker_id": 1}, "maker_id"),
]


@pytest.mark.parametrize(("wrong", "field"), WRONG)
def test_a_wrong_body_is_refused_by_field_and_nothing_is_written(
    writer: APIClient, wrong: dict[str, Any], field: str
) -> None:
    assert field in faulty_fields(writer.post(LIST, {**ADAPTER, **wrong}, format="json"))
    assert not Adapter.objects.exists()
    assert not Maker.objects.exists()


def test_a_required_field_that_is_missing_is_named(writer: APIClient) -> None:
    assert faulty_fields(writer.post(LIST, {}, format="json")) == {
        "maker",
        "name",
        "rated_power_w",
        "ports",
    }


def test_the_list_is_in_order_of_slug_and_filtered(anyone: APIClient) -> None:
    make_adapter("Solo 65")
    make_adapter("Duo 45", maker="Grauwerk", rated_power_w=45.0, model_number="GW-2")
    two = (PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c"))
    make_adapter("Trio 140", rated_power_w=140.0, ports=two)

    def slugs(query: str) -> list[str]:
        return [row["slug"] for row in anyone.get(f"{LIST}{query}").json()["results"]]

    assert slugs("") == ["grauwerk-duo-45", "northfold-solo-65", "northfold-trio-140"]
    assert slugs("?maker=northfold") == ["northfold-solo-65", "northfold-trio-140"]
    assert slugs("?power_min=65&power_max=100") == ["northfold-solo-65"]
    assert slugs("?ports_min=2") == ["northfold-trio-140"]
    assert slugs("?q=gw-2") == ["grauwerk-duo-45"]
    assert slugs("?q=north+trio") == ["northfold-trio-140"]


@pytest.mark.parametrize("query", ["color=red", "power_min=x", "maker=nobody", "maker__name=x"])
def test_a_filter_that_is_not_understood_never_gives_the_whole_list(
    anyone: APIClient, query: str
) -> None:
    make_adapter()
    assert faulty_fields(anyone.get(f"{LIST}?{query}")) == {query.split("=", maxsplit=1)[0]}


def test_pages_by_key_neither_lose_nor_repeat_a_row_while_others_are_added(
    anyone: APIClient,
) -> None:
    before = {make_adapter(f"Solo {number:03}").slug for number in range(20)}
    seen = []
    for count, row in enumerate(walk(anyone, f"{LIST}?limit=3")):
        seen.append(row["slug"])
        make_adapter(f"{'Aaa' if count % 2 else 'Zzz'} {count:03}") if count < 10 else None
    assert len(seen) == len(set(seen))
    assert before <= set(seen)


def test_an_embargoed_adapter_does_not_exist_for_readers(
    anyone: APIClient, writer: APIClient
) -> None:
    answer = writer.post(LIST, {**ADAPTER, "publish_on": tomorrow().isoformat()}, format="json")
    assert answer.status_code == 201
    address = answer["Location"]
    assert writer.get(address).status_code == 200
    absent = assert_problem(anyone.get(f"{LIST}none-such/"), 404)
    for part in ("", "ports/", "placements/"):
        hidden = assert_problem(anyone.get(address + part), 404)
        assert hidden["detail"].replace("northfold-trio-140", "none-such") == absent["detail"]
    assert anyone.get(LIST).json()["results"] == []
    assert anyone.get("/api/v1/values/").json()["results"] == []
    values = anyone.get("/api/v1/values/?adapter=northfold-trio-140")
    assert faulty_fields(values) == {"adapter"}


def test_a_change_needs_the_version_it_changes(writer: APIClient) -> None:
    make_adapter()
    assert_problem(writer.patch(ONE, {"mass_g": 90}, format="json"), 428)
    tag = writer.get(ONE)["ETag"]
    changed = writer.patch(ONE, {"mass_g": 90}, format="json", headers={"If-Match": tag})
    assert changed.status_code == 200
    assert changed.json()["mass_g"] == 90
    assert changed["ETag"] == writer.get(ONE)["ETag"] != tag
    stale = writer.patch(ONE, {"mass_g": 95}, format="json", headers={"If-Match": tag})
    assert_problem(stale, 412, name="stale")
    assert Adapter.objects.get().mass_g == 90
    forced = writer.patch(ONE, {"mass_g": 95}, format="json", headers={"If-Match": "*"})
    assert forced.status_code == 200


def test_a_tag_that_came_with_a_compressed_answer_serves_for_a_change(writer: APIClient) -> None:
    make_adapter()
    tag = writer.get(ONE, headers={"Accept-Encoding": "gzip"})["ETag"]
    assert tag.startswith("W/")
    changed = writer.patch(ONE, {"mass_g": 90}, format="json", headers={"If-Match": tag})
    assert changed.status_code == 200


@pytest.mark.parametrize(("wrong", "field"), WRONG)
def test_a_wrong_change_is_refused_and_changes_nothing(
    writer: APIClient, wrong: dict[str, Any], field: str
) -> None:
    make_adapter()
    before = writer.get(ONE).json()
    answer = writer.patch(ONE, wrong, format="json", headers={"If-Match": "*"})
    assert field in faulty_fields(answer)
    assert writer.get(ONE).json() == before


@pytest.mark.parametrize("body", [[], "x", 5, None])
def test_a_change_is_an_object(writer: APIClient, body: Any) -> None:
    make_adapter()
    answer = writer.patch(ONE, body, format="json", headers={"If-Match": "*"})
    # An absent body (None) changes nothing; anything else that is no object is refused.
    assert answer.status_code == (200 if body is None else 400)


def test_a_change_of_ports_keeps_their_protocols_and_the_claims(writer: APIClient) -> None:
    protocol = Protocol.objects.order_by("pk").first()
    assert protocol is not None
    make_adapter(
        ports=(PortFacts("C1", "usb-c", 65.0, protocols=(protocol.slug,)),),
        claims=(ClaimFacts("20 V 3.25 A", port="C1", voltage_v=20, current_a=3.25),),
    )
    ports = [{"label": "C1", "connector": "usb-c"}, {"label": "C2", "connector": "usb-c"}]
    answer = writer.patch(ONE, {"ports": ports}, format="json", headers={"If-Match": "*"})
    content = answer.json()
    assert [port["protocols"] for port in content["ports"]] == [[protocol.slug], []]
    assert content["claims"][0]["port"] == "C1"


def test_a_combination_is_written_in_the_labels_of_the_ports(writer: APIClient) -> None:
    body = {**ADAPTER, "claims": [{**SHARED, "combination": " a1 + C1"}]}
    answer = writer.post(LIST, body, format="json")
    assert answer.json()["claims"][0]["combination"] == "A1+C1"


def test_a_changed_sharing_claim_gives_another_tag_and_a_port_of_it_cannot_go(
    writer: APIClient,
) -> None:
    address = writer.post(LIST, {**ADAPTER, "claims": [SHARED]}, format="json")["Location"]
    tag = writer.get(address)["ETag"]
    claims = [{**SHARED, "power_w": 90}]
    change = writer.patch(address, {"claims": claims}, format="json", headers={"If-Match": tag})
    assert change.json()["claims"][0]["power_w"] == 90
    assert change["ETag"] != tag
    answer = writer.patch(
        address,
        {"ports": [{"label": "C1", "connector": "usb-c"}]},
        format="json",
        headers={"If-Match": "*"},
    )
    assert faulty_fields(answer) == {"claims.0.combination"}


def test_a_port_with_runs_is_not_taken_away(writer: APIClient) -> None:
    adapter = make_adapter()
    run = receive(adapter, port=adapter.ports.get())
    answer = writer.patch(ONE, {"ports": []}, format="json", headers={"If-Match": "*"})
    assert_problem(answer, 409, name="conflict")
    assert Run.objects.get(pk=run.pk).port is not None


def test_an_adapter_under_embargo_can_be_changed_by_those_who_see_it(writer: APIClient) -> None:
    make_adapter()
    until = tomorrow().isoformat()
    answer = writer.patch(ONE, {"publish_on": until}, format="json", headers={"If-Match": "*"})
    assert answer.json()["publish_on"] == until
    assert client_of(None).get(ONE).status_code == 404


def test_ports_are_listed_with_what_they_advertise(anyone: APIClient) -> None:
    make_adapter(ports=(PortFacts("C1", "usb-c", 65.0), PortFacts("A1", "usb-a", 18.0)))
    rows = anyone.get(f"{ONE}ports/").json()["results"]
    assert [(row["label"], row["connector"], row["rated_power_w"]) for row in rows] == [
        ("C1", "usb-c", 65.0),
        ("A1", "usb-a", 18.0),
    ]
    assert all((row["protocols"], row["objects"]) == ([], []) for row in rows)


def test_an_answer_that_has_not_changed_is_not_sent_again(anyone: APIClient) -> None:
    make_adapter()
    for address in (ONE, LIST, f"{ONE}ports/", "/api/v1/metrics/", "/api/v1/"):
        tag = anyone.get(address)["ETag"]
        again = anyone.get(address, headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b""), address
        assert anyone.get(address, headers={"If-None-Match": '"other"'}).status_code == 200


def test_the_list_takes_the_same_queries_for_3_and_for_30_adapters(
    anyone: APIClient, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(30):
        make_adapter(f"Solo {number}", claims=(ClaimFacts("5 V 3 A", port="C1"),))
        if number in (2, 29):
            with django_assert_num_queries(4):  # adapters, ports, protocols, claims
                anyone.get(LIST)
