"""The order of the sections: a permutation, whatever a bench names."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brickledger.environment import Environment
from comparisons.facts.order import OPTIONAL, SECTION_OF_KIND, SECTIONS, completed
from comparisons.facts.sheets import Fact, in_order

NAME = "BRICKLEDGER_FACT_ORDER"

some = st.lists(st.sampled_from(sorted(SECTIONS)), unique=True)


@given(some)
def test_every_section_stands_once_with_those_named_first(named: list[str]) -> None:
    order = completed(named)
    assert sorted(order) == sorted(SECTIONS)
    assert list(order[: len(named)]) == named
    rest = order[len(named) :]
    assert list(rest) == [key for key in SECTIONS if key in rest]


@given(some, st.sets(st.sampled_from(sorted(SECTIONS))))
def test_no_section_is_missing_and_one_without_facts_says_so(
    named: list[str], known: set[str]
) -> None:
    facts = {key: [Fact(f"Something of {key}.")] for key in known}
    order = completed(named)
    found = in_order(facts, order=order, missing="Not measured.")
    assert [part.key for part in found] == [key for key in order if key != OPTIONAL or key in known]
    for part in found:
        said = f"Something of {part.key}." if part.key in known else "Not measured."
        assert [fact.text for fact in part.facts] == [said]


def test_the_usual_order_is_the_one_that_was_asked_for() -> None:
    # Source: the text of the issue that asked for fact sheets; "further" is for later kinds.
    usual = "identity profiles standby efficiency heat ripple sharing devices charge"
    assert [*usual.split(), "further", "verdicts", "cautions"] == list(completed(()))
    assert set(SECTION_OF_KIND.values()) < set(SECTIONS)


def test_an_order_is_read_in_any_case() -> None:
    environment = Environment({NAME: " Heat, standby "})
    assert environment.order(NAME, choices=tuple(SECTIONS)) == ("heat", "standby")
    assert environment.mistakes == []


@pytest.mark.parametrize(
    ("raw", "wrong"),
    [
        ("heat,noise", "names “noise”, which is none of its words"),
        ("heat,standby,HEAT", "names “heat” more than once"),
    ],
)
def test_a_wrong_order_is_reported_and_the_usual_one_stays(raw: str, wrong: str) -> None:
    environment = Environment({NAME: raw})
    assert completed(environment.order(NAME, choices=tuple(SECTIONS))) == tuple(SECTIONS)
    (mistake,) = environment.mistakes
    assert mistake.name == NAME
    assert wrong in mistake.message
    assert "identity, profiles, standby" in mistake.hint
