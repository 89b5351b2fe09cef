"""Words of power data objects over HTTP: everybody may send them, nothing is written."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from catalog.power_delivery.audit import audit
from catalog.power_delivery.objects import encode
from catalog.power_delivery.words import LARGEST_COUNT
from tests.catalog.power_delivery.scans import SCAN_65_W, SCAN_140_W, fixed, scan
from tests.factories.api import assert_problem, client_of, faulty_fields

pytestmark = pytest.mark.django_db

ADDRESS = "/api/v1/decode/"
MEMBERS = {
    "position",
    "kind",
    "voltage_min_v",
    "voltage_max_v",
    "current_max_a",
    "power_max_w",
    "flags",
    "word",
}


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


def post(client: APIClient, body: Any) -> Any:
    return client.post(ADDRESS, body, format="json")


def written(objects: Any) -> list[str]:
    return [f"0x{encode(item):08X}" for item in objects]


def test_the_words_are_decoded_in_their_order(anyone: APIClient) -> None:
    # First object: the widely published fixed 5 V, 3 A; layout as in the header of the Linux
    # kernel, include/linux/usb/pd.h.
    answer = post(anyone, {"words": ["0x0001912C", "0002D12C", "  0xC9A42164\n", "0x0"]})
    assert answer.status_code == 200
    content = answer.json()
    assert content.keys() == {"objects", "findings"}
    assert all(item.keys() == MEMBERS for item in content["objects"])
    assert content["objects"][0] == {
        "position": 1,
        "kind": "fixed",
        "voltage_min_v": 5.0,
        "voltage_max_v": 5.0,
        "current_max_a": 3.0,
        "power_max_w": 15.0,
        "flags": [],
        "word": "0x0001912C",
    }
    rest = [(item["kind"], item["voltage_max_v"]) for item in content["objects"][1:]]
    assert rest == [("fixed", 9.0), ("pps", 21.0), ("padding", None)]


def test_the_findings_are_those_of_the_audit_with_source_and_standing(anyone: APIClient) -> None:
    objects = scan(fixed(9, 3), fixed(5, 3))
    content = post(anyone, {"words": written(objects)}).json()
    assert content["findings"] == [item.as_json() for item in audit(objects)]
    first = content["findings"][0]
    assert first.keys() == {"rule", "severity", "detail", "source", "standing", "positions"}
    assert {(item["rule"], tuple(item["positions"])) for item in content["findings"]} >= {
        ("first-object-five-volts", (1,)),
    }


def test_the_rated_power_is_that_of_the_port(anyone: APIClient) -> None:
    words = written(SCAN_65_W)
    alone, rated = (
        post(anyone, {"words": words, "rated_power_w": power}).json()["findings"]
        for power in (None, 100)
    )
    assert rated == [item.as_json() for item in audit(SCAN_65_W, port_rated_power_w=100.0)]
    assert {item["severity"] for item in rated} > {item["severity"] for item in alone}


def test_every_word_has_a_meaning_or_is_kept(anyone: APIClient) -> None:
    words = [f"0x{type_bits << 28 | 0x0F0F0F0:08X}" for type_bits in range(16)]
    content = post(anyone, {"words": [*words, "0xFFFFFFFF", "0x00000000"]}).json()
    assert [item["word"] for item in content["objects"][:16]] == words
    assert content["objects"][16]["kind"] == "reserved"


def test_sixty_four_words_are_taken_and_one_more_is_not(anyone: APIClient) -> None:
    words = ["0x0001912C"] * LARGEST_COUNT
    assert len(post(anyone, {"words": words}).json()["objects"]) == LARGEST_COUNT
    answer = post(anyone, {"words": [*words, "0x0001912C"]})
    assert faulty_fields(answer) == {"words"}
    assert "64 words" in answer.json()["errors"][0]["detail"]


def test_a_long_list_of_wrong_words_is_answered_with_one_fault(anyone: APIClient) -> None:
    answer = post(anyone, {"words": ["zz"] * 100_000})
    assert len(assert_problem(answer, 400)["errors"]) == 1


def test_each_wrong_word_is_named_by_its_index(anyone: APIClient) -> None:
    answer = post(anyone, {"words": ["0x0001912C", "zz", "0x0002D12C", "12", 17]})
    assert faulty_fields(answer) == {"words.1", "words.3", "words.4"}
    details = {item["field"]: item["detail"] for item in answer.json()["errors"]}
    assert "“zz” is not a 32-bit word" in details["words.1"]
    assert "as text" in details["words.4"]


WRONG: list[tuple[Any, str]] = [
    ({}, "words"),
    ({"words": None}, "words"),
    ({"words": []}, "words"),
    ({"words": "0x0001912C"}, "words"),
    ({"words": {"0": "0x0001912C"}}, "words"),
    ({"words": [None]}, "words.0"),
    ({"words": [True]}, "words.0"),
    ({"words": [4096]}, "words.0"),
    ({"words": [["0x0001912C"]]}, "words.0"),
    ({"words": [""]}, "words.0"),
    ({"words": ["0x"]}, "words.0"),
    ({"words": ["0x100000000"]}, "words.0"),
    ({"words": ["-0x1"]}, "words.0"),
    ({"words": ["0x0001912C 0x0002D12C"]}, "words.0"),
    ({"words": ["0x0001_912C"]}, "words.0"),
    ({"words": ["０００１９１２Ｃ"]}, "words.0"),  # digits of another script
    ({"words": ["a\0b"]}, "words.0"),
    ({"words": ["\ud800"]}, "words.0"),
    ({"words": ["<script>"]}, "words.0"),
    ({"words": ["9" * 1_000_000]}, "words.0"),
    ({"words": ["0x0001912C"], "rated_power_w": "65"}, "rated_power_w"),
    ({"words": ["0x0001912C"], "rated_power_w": 0}, "rated_power_w"),
    ({"words": ["0x0001912C"], "rated_power_w": -65}, "rated_power_w"),
    ({"words": ["0x0001912C"], "rated_power_w": True}, "rated_power_w"),
    ({"words": ["0x0001912C"], "rated_power_w": 10**400}, "rated_power_w"),
    ({"words": ["0x0001912C"], "rated_power": 65}, "rated_power"),
    ({"words": ["0x0001912C"], "\ud800": 1}, "\\ud800"),
    ([], "body"),
    ("0x0001912C", "body"),
    (None, "body"),
]


@pytest.mark.parametrize(("body", "field"), WRONG, ids=lambda part: repr(part)[:40])
def test_a_wrong_body_is_refused_by_field(anyone: APIClient, body: Any, field: str) -> None:
    answer = anyone.generic("POST", ADDRESS, json.dumps(body), "application/json")
    assert field in faulty_fields(answer)
    assert len(answer.content) < 2000


@pytest.mark.parametrize(
    ("raw", "content_type", "status"),
    [
        (b"", "application/json", 400),
        (b"{", "application/json", 400),
        (b'{"words": [NaN]}', "application/json", 400),
        (b'{"words": ["\xff"]}', "application/json", 400),
        (b"[" * 100_000, "application/json", 400),
        (b" " * (6 * 2**20), "application/json", 413),
        (b"words=0x0001912C", "application/x-www-form-urlencoded", 415),
        (b"0x0001912C", "text/plain", 415),
    ],
    ids=lambda part: repr(part)[:24],
)
def test_what_is_not_json_is_refused_as_such(
    anyone: APIClient, raw: bytes, content_type: str, status: int
) -> None:
    assert_problem(anyone.post(ADDRESS, raw, content_type=content_type), status)


def test_only_post_is_understood_and_without_a_query(anyone: APIClient) -> None:
    assert_problem(anyone.get(ADDRESS), 405)
    answer = anyone.post(f"{ADDRESS}?strict=1", {"words": ["0x0001912C"]}, format="json")
    assert faulty_fields(answer) == {"strict"}


@pytest.mark.parametrize("role", ["reader", "reviewer", "editor"])
def test_the_answer_is_the_same_for_everybody(
    role: str, person: Callable[[str], User], anyone: APIClient
) -> None:
    body = {"words": written(SCAN_140_W), "rated_power_w": 140}
    answer = post(client_of(person(role)), body)
    assert answer.status_code == 200
    assert answer.json() == post(anyone, body).json()


def test_a_session_needs_no_token_of_a_form(editor: User) -> None:
    signed_in = Client(enforce_csrf_checks=True)
    signed_in.force_login(editor)
    body = json.dumps({"words": ["0x0001912C"]})
    assert signed_in.post(ADDRESS, body, "application/json").status_code == 200


@pytest.mark.django_db
def test_a_token_is_read_only_so_that_its_calls_are_its_own(anyone: APIClient) -> None:
    anyone.credentials(HTTP_AUTHORIZATION="Bearer none-such")
    assert post(anyone, {"words": ["0x0001912C"]}).status_code == 401


def test_nothing_is_read_from_or_written_to_the_database(
    anyone: APIClient, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(0):
        assert post(anyone, {"words": written(SCAN_140_W)}).status_code == 200
