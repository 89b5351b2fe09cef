"""JSON bodies are read strictly: parser, fields, unknown names, paths of faults."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest
from pytest_django.fixtures import Settings
from rest_framework.exceptions import ParseError, ValidationError

from catalog.rest.fields import MAX_DEPTH, Body, NumberField, TextField, WordField, fault_of_plain
from catalog.rest.parsers import StrictJSONParser
from catalog.rest.problems import Fault, PayloadTooLarge, faults_of


class Inner(Body):
    """A port, say."""

    label = TextField(max_length=5)  # type: ignore[assignment]


class Outer(Body):
    """An adapter, say."""

    power = NumberField(above=0, maximum=100)
    line = WordField(choices=["high", "low"], required=False)
    ports = Inner(many=True, required=False)


def faults(data: Any) -> set[str]:
    body = Outer(data=data)
    with pytest.raises(ValidationError) as caught:
        body.is_valid(raise_exception=True)
    return {fault.field for fault in faults_of(caught.value.detail)}


@pytest.mark.parametrize("power", [1, 0.5, 100, 1e-300])
def test_numbers_within_the_range_are_taken(power: float) -> None:
    body = Outer(data={"power": power})
    assert body.is_valid()
    assert body.validated_data["power"] == power
    assert isinstance(body.validated_data["power"], float)


@pytest.mark.parametrize("power", ["1", True, None, [], {}, 0, -1, 100.5, 10**400, -(10**400)])
def test_anything_else_is_no_number(power: Any) -> None:
    assert faults({"power": power}) == {"power"}


@pytest.mark.parametrize("label", [1, True, None, [], {}, "", "  ", "sixsix", "a\0b", "\ud800"])
def test_text_is_a_string_that_can_be_stored(label: Any) -> None:
    assert faults({"power": 1, "ports": [{"label": "C1"}, {"label": label}]}) == {"ports.1.label"}


@pytest.mark.parametrize("line", ["High", "", 1, None, [], {}])
def test_a_word_is_one_of_the_known_ones(line: Any) -> None:
    assert faults({"power": 1, "line": line}) == {"line"}


@pytest.mark.parametrize("body", [[], "text", 5, None, True])
def test_a_body_is_an_object(body: Any) -> None:
    with pytest.raises(ValidationError) as caught:
        Outer(data=body).is_valid(raise_exception=True)
    assert [fault.field for fault in faults_of(caught.value.detail)] == ["body"]


def test_unknown_names_are_reported_beside_the_other_faults() -> None:
    assert faults({"powr": 1, "ports": [{"label": "C1", "role": "x"}]}) == {
        "powr",
        "power",
        "ports.0.role",
    }


def test_a_flood_of_unknown_names_is_cut() -> None:
    found = faults({"power": 1, **{f"{'n' * 200}{index}": 1 for index in range(1000)}})
    assert len(found) <= 20
    assert all(len(name) <= 80 for name in found)


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        (b'{"a": 1}', {"a": 1}),
        (b'\xef\xbb\xbf{"a": 1}', {"a": 1}),
        ('"°C"'.encode(), "°C"),
    ],
)
def test_json_is_read(raw: bytes, expected: Any) -> None:
    assert StrictJSONParser().parse(BytesIO(raw)) == expected


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"{",
        b"{'a': 1}",
        b'{"a": 1} x',
        b'{"a": NaN}',
        b'{"a": -Infinity}',
        b'{"a": 1e400}',
        b'{"a": ' + b"9" * 5000 + b"}",
        b'{"a": "\xff"}',
        b'{"a": 1, "a": 2}',
        b"\x00",
        '{"a": 1}'.encode("utf-16"),
        b"[" * 100_000,
        b'{"a":' * 100_000,
    ],
)
def test_what_is_not_json_is_refused_with_a_sentence(raw: bytes) -> None:
    with pytest.raises(ParseError) as caught:
        StrictJSONParser().parse(BytesIO(raw))
    assert str(caught.value.detail).endswith(".")


def test_a_body_past_the_limit_is_not_parsed(settings: Settings) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    assert StrictJSONParser().parse(BytesIO(b"1".rjust(100))) == 1
    with pytest.raises(PayloadTooLarge):
        StrictJSONParser().parse(BytesIO(b"1".rjust(101)))


def nested(depth: int) -> Any:
    data: Any = "end"
    for _ in range(depth):
        data = [data]
    return data


@pytest.mark.parametrize(
    "data", [None, 1, 1.5, "text", {"top": "plastic"}, [{"a": [1, "°"]}], nested(MAX_DEPTH - 1)]
)
def test_plain_data_without_fault_may_be_stored(data: Any) -> None:
    assert fault_of_plain(data) == ""


@pytest.mark.parametrize(
    "data",
    [
        float("nan"),
        float("inf"),
        {"a": [float("-inf")]},
        "a\0",
        {"a\0": 1},
        ["\udfff"],
        nested(MAX_DEPTH),
        nested(5000),
    ],
)
def test_plain_data_that_a_database_cannot_hold_is_named(data: Any) -> None:
    assert fault_of_plain(data).endswith(".")


def test_a_fault_that_quotes_a_lone_surrogate_can_be_sent() -> None:
    sent = Fault("\ud800", "“a\udfff” is no word.").as_json()
    assert sent == {"field": "\\ud800", "detail": "“a\\udfff” is no word."}
