"""Query parameters are read strictly."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from django.http import QueryDict

from catalog.rest.parameters import Reader, moment, number, one_of, read_parameters, text, whole
from catalog.rest.problems import Invalid

KNOWN = {
    "line": one_of("high", "low"),
    "output_v": number(above=0, maximum=1000),
    "ports": whole(minimum=0, maximum=9),
    "device": text,
    "as_of": moment,
}


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", {}),
        ("line=high", {"line": "high"}),
        ("output_v=20", {"output_v": 20.0}),
        ("output_v=5e0", {"output_v": 5.0}),
        ("output_v=.5", {"output_v": 0.5}),
        ("ports=3", {"ports": 3}),
        ("device=slate%20tablet", {"device": "slate tablet"}),
        ("as_of=2026-04-04T12:00:00%2B02:00", {"as_of": datetime(2026, 4, 4, 10, tzinfo=UTC)}),
        ("as_of=2026-04-04T12:00", {"as_of": datetime(2026, 4, 4, 12, tzinfo=UTC)}),
        (
            "as_of=2026-04-04",
            {"as_of": datetime(2026, 4, 4, 23, 59, 59, 999999, tzinfo=UTC)},
        ),
    ],
)
def test_what_is_well_written_is_read(query: str, expected: dict[str, Any]) -> None:
    assert read_parameters(QueryDict(query), known=KNOWN) == expected


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("lime=high", "lime"),
        ("line=", "line"),
        ("device=", "device"),
        ("line__in=high", "line__in"),
        ("__class=x", "__class"),
        ("line=High", "line"),
        ("line=high&line=low", "line"),
        ("output_v=0", "output_v"),
        ("output_v=-5", "output_v"),
        ("output_v=1001", "output_v"),
        ("output_v=nan", "output_v"),
        ("output_v=inf", "output_v"),
        ("output_v=1e999", "output_v"),
        ("output_v=1_0", "output_v"),
        ("output_v=%D9%A5", "output_v"),
        ("output_v=5%20", "output_v"),
        ("output_v=20,5", "output_v"),
        ("ports=1.0", "ports"),
        ("ports=-1", "ports"),
        ("ports=99999999999999999999999", "ports"),
        ("device=a%00b", "device"),
        ("device=" + "x" * 301, "device"),
        ("as_of=yesterday", "as_of"),
        ("as_of=2026-02-30", "as_of"),
        ("as_of=0001-01-01T00:00:00%2B14:00", "as_of"),
    ],
)
def test_what_is_not_understood_is_named(query: str, field: str) -> None:
    with pytest.raises(Invalid) as caught:
        read_parameters(QueryDict(query), known=KNOWN)
    assert [fault.field for fault in caught.value.faults] == [field]


def test_every_fault_is_named_at_once() -> None:
    with pytest.raises(Invalid) as caught:
        read_parameters(QueryDict("lime=high&output_v=x&ports=x"), known=KNOWN)
    assert [fault.field for fault in caught.value.faults] == ["lime", "output_v", "ports"]


def test_an_unknown_name_is_answered_with_the_known_ones() -> None:
    with pytest.raises(Invalid) as caught:
        read_parameters(QueryDict("lime=high"), known=KNOWN)
    detail = caught.value.faults[0].detail
    assert all(name in detail for name in KNOWN)


@pytest.mark.parametrize(
    ("reader", "sentence"),
    [
        (number(minimum=0, maximum=10), "from 0 to 10"),
        (number(above=0, maximum=10), "above 0 to 10"),
        (whole(minimum=1, maximum=500), "from 1 to 500"),
    ],
)
def test_a_range_is_told_as_it_is_checked(reader: Reader, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        reader("-3")
