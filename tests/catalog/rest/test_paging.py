"""Cursors: bound to one list, and not to be forged."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from django.core.signing import Signer
from rest_framework.request import Request
from rest_framework.test import APIRequestFactory

from catalog.rest.paging import PAGE_PARAMETERS, PageAsked, page_asked, sequence_page
from catalog.rest.parameters import read_parameters, text
from catalog.rest.problems import Invalid

KNOWN = {**PAGE_PARAMETERS, "maker": text}


def asked(address: str) -> PageAsked:
    request = Request(APIRequestFactory().get(address))
    given = read_parameters(request.query_params, known=KNOWN)
    return page_asked(request, given=given, size=50)


def test_a_link_leads_back_to_its_key_and_keeps_filters_and_limit() -> None:
    link = asked("/list/?maker=northfold&limit=7").link("trio-140")
    query = parse_qs(urlsplit(link).query)
    assert urlsplit(link).path == "/list/"
    assert query["maker"] == ["northfold"]
    assert query["limit"] == ["7"]
    following = asked(link)
    assert (following.after, following.limit) == ("trio-140", 7)


def test_the_same_page_has_the_same_link() -> None:
    assert asked("/list/").link(5) == asked("/list/").link(5)


def test_the_limit_may_change_on_the_way() -> None:
    assert asked(asked("/list/").link(5) + "&limit=3").after == 5


def cursor(link: str) -> str:
    return parse_qs(urlsplit(link).query)["after"][0]


@pytest.mark.parametrize(
    "forged",
    [
        "5",
        "x:y:z",
        "." * 50,
        "é",
        "\x00",
        "a" * 3000,
        Signer(salt="another salt").sign_object({"key": 5, "list": ""}),
        cursor(asked("/other/").link(5)),
        cursor(asked("/list/?maker=northfold").link(5)),
        cursor(asked("/list/").link(5))[:-1],
        "A" + cursor(asked("/list/").link(5)),
    ],
)
def test_a_cursor_from_elsewhere_is_refused(forged: str) -> None:
    with pytest.raises(Invalid) as caught:
        asked(f"/list/?{urlencode({'after': forged})}")
    assert [fault.field for fault in caught.value.faults] == ["after"]


@pytest.mark.parametrize("limit", ["0", "-1", "501", "1e9", "1000000000", "five", "1.5"])
def test_a_limit_lies_from_1_to_500(limit: str) -> None:
    with pytest.raises(Invalid):
        asked(f"/list/?limit={limit}")


def test_a_sequence_is_cut_into_pages_without_loss() -> None:
    rows = list(range(10))
    seen: list[Any] = []
    link: str | None = "/list/?limit=4"
    lengths = []
    while link:
        page = sequence_page(rows, asked=asked(link), key=lambda row: (row,))
        lengths.append(len(page.rows))
        seen += page.rows
        link = page.next
    assert seen == rows
    assert lengths == [4, 4, 2]


def test_rows_that_come_in_or_go_out_between_two_pages_move_no_others() -> None:
    rows = [10, 20, 30, 40, 50, 60]
    first = sequence_page(rows, asked=asked("/list/?limit=3"), key=lambda row: (row,))
    assert first.next is not None
    changed = [5, 10, 15, 40, 45, 50, 60]
    second = sequence_page(changed, asked=asked(first.next), key=lambda row: (row,))
    assert (first.rows, second.rows) == ([10, 20, 30], [40, 45, 50])


def test_a_cursor_that_tells_a_position_is_of_an_earlier_release() -> None:
    with pytest.raises(Invalid, match="1 thing"):
        sequence_page([1, 2], asked=asked(asked("/list/").link(1)), key=lambda row: (row,))
