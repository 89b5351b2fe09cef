"""Entity tags and If-Match (RFC 9110, sections 8.8.3, 13.1.1)."""

from __future__ import annotations

import re

import pytest
from rest_framework.request import Request
from rest_framework.test import APIRequestFactory

from catalog.rest.conditions import check_if_match, entity_tag
from catalog.rest.problems import PreconditionFailed, PreconditionRequired

CURRENT = entity_tag({"name": "Trio 140"})


def change(if_match: str | None) -> str:
    """What became of a change: it raises, or it goes on."""
    headers = {} if if_match is None else {"If-Match": if_match}
    check_if_match(Request(APIRequestFactory().patch("/", headers=headers)), current=CURRENT)
    return "goes on"


def test_a_tag_is_strong_and_follows_the_content() -> None:
    # RFC 9110, 8.8.3: opaque-tag = DQUOTE *etagc DQUOTE, without W/ when strong.
    assert re.fullmatch(r'"[\x21\x23-\x7e]+"', CURRENT)
    assert entity_tag({"b": 1, "a": 2}) == entity_tag({"a": 2, "b": 1})
    assert entity_tag({"name": "Trio 141"}) != CURRENT


@pytest.mark.parametrize("header", [CURRENT, "*", f'"x", {CURRENT}', f"W/{CURRENT}"])
def test_a_change_of_the_present_version_goes_on(header: str) -> None:
    assert change(header) == "goes on"


@pytest.mark.parametrize("header", ['"x"', "", "x", CURRENT.strip('"'), 'W/"x"', "**", ","])
def test_a_change_of_another_version_is_refused(header: str) -> None:
    with pytest.raises(PreconditionFailed):
        change(header)


def test_a_change_without_a_version_is_refused() -> None:
    with pytest.raises(PreconditionRequired):
        change(None)
