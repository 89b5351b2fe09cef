"""Conditions as a person reads them, and the loads that the API takes."""

from __future__ import annotations

import pytest
from rest_framework.test import APIClient

from measurements.kinds.base import Condition
from measurements.parameters import LOADS
from measurements.queries import condition_in_words


@pytest.mark.parametrize(
    ("load", "words"),
    [
        ("none", "no load"),
        ("full", "full load"),
        ("10 %", "at 10 % load"),
        ("100 %", "at 100 % load"),
        ("65 W", "at 65 W"),
    ],
)
def test_a_load_is_named_as_people_say_it(load: str, words: str) -> None:
    assert load in LOADS
    condition = Condition(line="high", output_v=20.0, load=load)
    assert condition_in_words(condition) == f"230 V mains, 20 V output, {words}"


@pytest.mark.django_db
def test_every_load_may_be_asked_for_and_no_other() -> None:
    api = APIClient()
    ranking = "/api/v1/rankings/efficiency-at-load/"
    for load in LOADS:
        for address in ("/api/v1/values/", ranking):
            answer = api.get(address, {"load": load, "line": "high", "output_v": "20"})
            assert answer.status_code == 200, (address, load, answer.content)
    assert api.get(ranking, {"load": "55 %", "line": "high", "output_v": "20"}).status_code == 400
